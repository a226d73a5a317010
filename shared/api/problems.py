"""
Errors as RFC 9457 problem details: whatever goes wrong below /api/ is answered as JSON.

Domain rules raise `shared.errors.ShopError`; this module is the only place that turns an
exception into an answer. Programs read `code` and `errors`, people read `detail`.
"""

from __future__ import annotations

import logging
import math
import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from http import HTTPStatus
from itertools import islice
from typing import Any

from django.core.exceptions import (
    DisallowedHost,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
)
from django.core.exceptions import ValidationError as ModelInvalid
from django.core.signals import got_request_exception
from django.db import IntegrityError, OperationalError
from django.db.models import ProtectedError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.template import loader
from django.views import defaults
from rest_framework import exceptions
from rest_framework.response import Response

from shared.api.problem_kinds import KINDS, slug_of
from shared.errors import FieldProblem, Invalid, ShopError
from shared.retry import is_away, is_passing

MEDIA_TYPE = "application/problem+json"
SECRET_WORDS = ("password", "secret", "token")
RETRY_AFTER_S = 5
RULE = re.compile(r"([a-z][a-z0-9_]+) (?:must (?:not )?be \w+ (?:than )?([a-z][a-z0-9_]+))?")
UNIQUE_SET = re.compile(r"The fields (.+) must make a unique set\.")
MOST_PROBLEMS = 100
"""Problems named in one answer; nobody mends more at a time, and each costs room in the answer."""
DATABASE_AWAY = (
    "The database cannot be reached. If this was a change, it is not known whether it was kept: "
    "send it again in a few seconds, with the same Idempotency-Key, and it is made once."
)
log = logging.getLogger(__name__)

TITLES = {
    "validation": "Some fields are not valid",
    "unreadable": "The request cannot be read",
    "bad_parameter": "A query parameter is not valid",
    "not_authenticated": "Sign in or send a token",
    "permission_denied": "Not allowed",
    "not_found": "There is no such thing here",
    "method_not_allowed": "This address does not answer that method",
    "not_acceptable": "This form of answer is not available",
    "unsupported_media_type": "This form of request is not read",
    "conflict": "This clashes with what is stored",
    "in_use": "Something else still uses this",
    "stale": "It has changed since you read it",
    "if_match_missing": "Say which version you mean",
    "too_large": "The request is too large",
    "throttled": "Too many requests",
    "database_away": "The database is away",
    "busy": "Busy, try again",
    "internal": "Something went wrong here",
}


class BadParameter(exceptions.APIException):
    """A query parameter that is unknown or not valid; all of them at once."""

    status_code = 400
    default_code = "bad_parameter"

    def __init__(self, problems: list[dict[str, str]]) -> None:
        super().__init__(" ".join(problem["detail"] for problem in problems))
        self.problems = problems


def problem(
    request: Any,
    status: int,
    code: str,
    detail: str,
    *,
    errors: list[dict[str, str]] | None = None,
    facts: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the members of a problem object."""
    kind = "about:blank"
    if code in KINDS:
        kind = f"/problems/{slug_of(code)}/"
        # A host that is not ours is left out of the answer; RFC 9457 allows a relative type.
        with suppress(DisallowedHost):
            kind = request.build_absolute_uri(kind)
    members: dict[str, Any] = {
        "type": kind,
        "title": title_of(code),
        "status": status,
        "detail": detail,
        "code": code,
        "request_id": getattr(getattr(request, "_request", request), "request_id", ""),
    }
    if errors is not None:
        members["errors"] = errors
    for name, value in (facts or {}).items():
        members.setdefault(name, plain(value))
    return members


def title_of(code: str) -> str:
    """Return the few words that a kind of error is headed by."""
    return TITLES.get(code) or code.replace("_", " ").capitalize()


def plain(value: Any) -> Any:
    """Return a fact as JSON can hold it: decimals, dates and keys of other kinds as text."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if isinstance(value, Mapping):
        return {str(name): plain(member) for name, member in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(member) for member in value]
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def handle(error: Exception, context: dict[str, Any]) -> Response:
    """Answer an exception of a view; nothing passes by."""
    request = context["request"]
    members, headers = describe(error, request)
    if members["status"] == HTTPStatus.INTERNAL_SERVER_ERROR:
        got_request_exception.send(sender=None, request=request)
        log.exception("%s %s failed (%s)", request.method, request.path, members["request_id"])
    return Response(members, members["status"], headers=headers, content_type=MEDIA_TYPE)


def describe(error: Exception, request: Any) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the problem object of an exception, and the headers that go with it."""
    headers: dict[str, str] = {}
    errors = None
    facts: Mapping[str, Any] = {}
    match error:
        case Invalid():
            status, code, detail = 422, "validation", error.message
            errors = [found.as_dict() for found in error.problems]
        case ShopError():
            status, code, detail, facts = error.status, error.code, error.message, error.facts
            if status in (409, 503) and code in ("busy", "still_running"):
                headers["Retry-After"] = "1"
        case BadParameter():
            status, code, detail, errors = 400, "bad_parameter", str(error.detail), error.problems
        case exceptions.ValidationError():
            found = list(islice(field_problems(error.detail, request.data), MOST_PROBLEMS + 1))
            errors = [one.as_dict() for one in found[:MOST_PROBLEMS]]
            status, code, detail = 422, "validation", " ".join(e["detail"] for e in errors)
            if len(found) > MOST_PROBLEMS:
                detail = f"The first {MOST_PROBLEMS} problems are named; there are more. {detail}"
        case ModelInvalid():
            errors = [found.as_dict() for found in _model_problems(error, request.data)]
            status, code, detail = 422, "validation", " ".join(e["detail"] for e in errors)
        case exceptions.APIException():
            status, code, detail = error.status_code, _code_of(error), str(error.detail)
            if wait := getattr(error, "wait", None):
                headers["Retry-After"] = str(math.ceil(wait))
            if challenge := getattr(error, "auth_header", None):
                headers["WWW-Authenticate"] = challenge
        case Http404():
            status, code = 404, "not_found"
            detail = "There is nothing at this address, or it belongs to a site that is not yours."
        case PermissionDenied():
            status, code, detail = 403, "permission_denied", str(error) or "Not allowed."
        case ProtectedError():
            status, code = 409, "in_use"
            kinds = sorted({str(row._meta.verbose_name) for row in error.protected_objects})
            detail = f"It is still used by: {', '.join(kinds)}."
        case IntegrityError():
            status, code = 409, "conflict"
            detail = "This clashes with a rule or a row that is stored already; nothing changed."
        case RequestDataTooBig():
            status, code, detail = 413, "too_large", "The body is too large."
        case SuspiciousOperation():
            status, code, detail = 400, "unreadable", "The request cannot be read."
        case OperationalError() if is_passing(error):
            status, code, detail = 503, "busy", "The database is busy; try again in a moment."
            headers["Retry-After"] = "1"
        case Exception() if is_away(error):
            status, code, detail = 503, "database_away", DATABASE_AWAY
            headers["Retry-After"] = str(RETRY_AFTER_S)
        case _:
            status, code = 500, "internal"
            detail = (
                "This is a fault of the service and was written down. Read again what is stored "
                "before you repeat a change; under the same Idempotency-Key it is made once."
            )
    return problem(request, status, code, detail, errors=errors, facts=facts), headers


def _code_of(error: exceptions.APIException) -> str:
    codes = error.get_codes()
    code = codes if isinstance(codes, str) else error.default_code
    same = {"parse_error": "unreadable", "authentication_failed": "not_authenticated"}
    return same.get(code, code)


def field_problems(detail: Any, sent: Any, pointer: str = "#") -> Iterator[FieldProblem]:
    """Yield one problem for each message in the nested errors of a serializer."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            if name == "non_field_errors":
                yield from field_problems(inner, sent, pointer)
                continue
            step = str(name).replace("~", "~0").replace("/", "~1")
            value = sent.get(name) if isinstance(sent, Mapping) else _item(sent, name)
            yield from field_problems(inner, value, f"{pointer}/{step}")
    elif isinstance(detail, list | tuple):
        plural = any(isinstance(inner, Mapping | list) for inner in detail)
        for place, inner in enumerate(detail):
            if plural:
                if inner:
                    yield from field_problems(inner, _item(sent, place), f"{pointer}/{place}")
            else:
                yield _one(inner, sent, pointer)
    else:
        yield _one(detail, sent, pointer)


def _item(sent: Any, place: Any) -> Any:
    if isinstance(sent, list) and isinstance(place, int) and place < len(sent):
        return sent[place]
    return None


def _one(message: Any, sent: Any, pointer: str) -> FieldProblem:
    field = pointer.rpartition("/")[2] if "/" in pointer else ""
    hidden = any(word in pointer.lower() for word in SECRET_WORDS)
    simple = sent is not None and not isinstance(sent, dict | list) and not hidden
    value = str(sent)[:200] if simple else None
    sentence = str(message)
    if together := UNIQUE_SET.fullmatch(sentence):
        # Beside the field somebody chose: the site is where it is.
        names = [n for n in together[1].split(", ") if n != "site" and isinstance(sent, Mapping)]
        if names and names[-1] in sent:
            field, value = names[-1], str(sent[names[-1]])[:200]
            words = f"{field} is {value!r}, which is there already; give another."
            return FieldProblem(f"{pointer}/{field}", "unique", words, value)
    # The name of the field may also be a part of another word.
    if field and not re.search(rf"(?<![\w-]){re.escape(field)}(?![\w-])", sentence):
        sentence = f"{field} is {value!r}: {sentence}" if simple else f"{field}: {sentence}"
    code = getattr(message, "code", None) or "invalid"
    return FieldProblem(pointer, str(code), sentence, value, **getattr(code, "facts", {}))


def _model_problems(error: ModelInvalid, sent: Any) -> Iterator[FieldProblem]:
    if not hasattr(error, "error_dict"):
        for inner in error.error_list:
            yield FieldProblem("#", inner.code or "invalid", " ".join(inner.messages))
        return
    for field, errors in error.error_dict.items():
        for inner in errors:
            words = " ".join(inner.messages)
            told = named_first(words, sent) if field == "__all__" else field
            pointer = f"#/{told}" if told else "#"
            yield FieldProblem(pointer, inner.code or "invalid", words)


def named_first(words: str, names: Any) -> str:
    """
    Return the field that a model's rule is about, or nothing where it may be another.

    It is the first word where the rule names no other field, or compares it with one: "largest_kg
    must be above least_kg".
    """
    found = RULE.match(words)
    if found is None or not isinstance(names, Mapping) or found[1] not in names:
        return ""
    others = {word for word in re.findall(r"[a-z][a-z0-9_]+", words) if "_" in word} - {found[1]}
    return found[1] if not others or found[2] in others else ""


def is_api(request: HttpRequest) -> bool:
    """Tell whether the address is answered in JSON, come what may."""
    return request.path.startswith("/api/")


def _answer(request: HttpRequest, error: Exception) -> JsonResponse:
    members, headers = describe(error, request)
    return JsonResponse(
        members, status=members["status"], headers=headers, content_type=MEDIA_TYPE
    )


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an address that leads nowhere."""
    if is_api(request):
        return _answer(request, Http404())
    return defaults.page_not_found(request, exception)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a refusal outside a view of the API."""
    if is_api(request):
        return _answer(request, PermissionDenied(str(exception)))
    return defaults.permission_denied(request, exception)


def unreadable(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that Django could not read."""
    if is_api(request):
        return _answer(request, SuspiciousOperation())
    return defaults.bad_request(request, exception)


def failed(request: HttpRequest) -> HttpResponse:
    """Answer a fault of the service; a database that is away is said as what it is."""
    error = sys.exc_info()[1]
    away = error is not None and is_away(error)
    if is_api(request):
        return _answer(request, error if away and isinstance(error, Exception) else RuntimeError())
    if not away:
        return defaults.server_error(request)
    response = HttpResponse(loader.get_template("503.html").render(), status=503)
    response["Retry-After"] = str(RETRY_AFTER_S)
    return response
