"""
Idempotency-Key: the same request sent again is answered again, not carried out again.

The key's row is written first, in the transaction of the change itself, and the unique index
decides who runs. A second caller with the same key waits on that index: on PostgreSQL for at most
two seconds, then it is told to come back; on SQLite writers queue anyway.

What is stored: every 2xx answer and every business refusal (409), so that a retry does not turn
into a surprise later. What is not: validation, permission and version refusals, and faults; then
the key is free again.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, OperationalError, connection, transaction
from django.http import HttpResponse
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from shared import clock
from shared.api import problems
from shared.api.models import IdempotencyKey
from shared.errors import ShopError
from shared.retry import retried

KEPT = timedelta(days=30)
KEPT_HEADERS = ("Location", "ETag")
LONGEST_WAIT = "2s"
_FORM = re.compile(r"[\x21-\x7e]{16,255}")


class KeyMissing(ShopError):
    def __init__(self) -> None:
        super().__init__(
            "Send an Idempotency-Key of 16 to 255 visible characters with this request.",
            "idempotency_key_missing",
            400,
        )


class KeyMalformed(ShopError):
    def __init__(self) -> None:
        super().__init__(
            "The Idempotency-Key must have 16 to 255 visible characters without spaces.",
            "idempotency_key_malformed",
            400,
        )


class KeyUsed(ShopError):
    def __init__(self) -> None:
        super().__init__(
            "This Idempotency-Key belongs to another request; nothing was done. Use a new key.",
            "idempotency_key_used",
            422,
        )


class StillRunning(ShopError):
    def __init__(self) -> None:
        super().__init__(
            "The first request with this key is still running; ask again in a second.",
            "still_running",
            409,
        )


def read_key(request: Any) -> str | None:
    """Return the key of a request; the quoted form and the bare form are the same key."""
    header = request.headers.get("Idempotency-Key")
    if header is None:
        return None
    key = header.strip()
    if len(key) >= 2 and key[0] == key[-1] == '"':
        key = key[1:-1].replace('\\"', '"').replace("\\\\", "\\")
    if not _FORM.fullmatch(key):
        raise KeyMalformed
    return key


def principal(request: Any) -> str:
    """Return who a key belongs to."""
    return f"token:{request.auth.pk}" if request.auth else f"user:{request.user.pk}"


def fingerprint(request: Any) -> str:
    """Return a hash of what was asked; the order of members in the body does not matter."""
    body = json.dumps(request.data, sort_keys=True, default=str)
    asked = "\n".join([request.method, request.get_full_path(), body])
    return hashlib.sha256(asked.encode()).hexdigest()


def once(
    request: Any, work: Callable[[], Response], *, required: bool = True
) -> Response | HttpResponse:
    """Run `work` in a transaction, or give the answer it gave the first time."""
    key = read_key(request)
    if key is None:
        if required:
            raise KeyMissing
        return retried(work)()
    return retried(_run)(request, key, work)


def _run(request: Any, key: str, work: Callable[[], Response]) -> Response | HttpResponse:
    mark = fingerprint(request)
    row = _claim(principal(request), key, mark)
    if row.status is not None:
        if row.fingerprint != mark:
            raise KeyUsed
        return _replay(row)
    try:
        with transaction.atomic():
            response = work()
    except ShopError as error:
        if error.status != 409 or error.code == "still_running":
            raise
        response = problems.handle(error, {"request": request})
    row.status = response.status_code
    row.body = JSONRenderer().render(response.data).decode() if response.data is not None else ""
    row.headers = {name: response[name] for name in KEPT_HEADERS if name in response}
    row.save(update_fields=["status", "body", "headers"])
    return response


def _claim(who: str, key: str, mark: str) -> IdempotencyKey:
    """Insert the key's row, or return the finished one that is there."""
    real = connection.vendor == "postgresql"
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            if real:
                cursor.execute("SELECT set_config('lock_timeout', %s, true)", [LONGEST_WAIT])
            row = IdempotencyKey.objects.create(
                principal=who, key=key, fingerprint=mark, created_at=clock.now()
            )
            if real:
                cursor.execute("SELECT set_config('lock_timeout', '0', true)")
            return row
    except IntegrityError:
        return IdempotencyKey.objects.get(principal=who, key=key)
    except OperationalError as error:
        if getattr(error.__cause__, "sqlstate", None) == "55P03":
            raise StillRunning from None
        raise


def _replay(row: IdempotencyKey) -> HttpResponse:
    kind = problems.MEDIA_TYPE if (row.status or 0) >= 400 else "application/json"
    response = HttpResponse(row.body, status=row.status, content_type=kind)
    for name, value in row.headers.items():
        response[name] = value
    response["Idempotent-Replayed"] = "true"
    return response


def forget_old() -> int:
    """Delete keys that are past their time; return how many."""
    return IdempotencyKey.objects.filter(created_at__lt=clock.now() - KEPT).delete()[0]
