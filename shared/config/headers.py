"""Headers that every answer carries: a name for the request, and what a page may load."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from contextlib import suppress
from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

from shared.caller import answering

Answer = Callable[[HttpRequest], HttpResponse]

# The decoder of codes is WebAssembly; 'wasm-unsafe-eval' lets no text run as script.
POLICY = (
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; "
    "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# The documentation page of the API sets styles from its script; nothing else may.
DOCS_POLICY = POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")
DOCS_PATH = "/api/v1/"


class RequestId:
    """Give every request an id, shown in errors and logs; a caller may bring its own."""

    FORM = re.compile(r"\A[A-Za-z0-9._-]{8,64}\Z")

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-Id", "")
        name = given if self.FORM.match(given) else uuid.uuid4().hex
        request.request_id = name  # type: ignore[attr-defined]
        with answering(request):
            response = self.get_response(request)
        response["X-Request-Id"] = name
        return response


class RateLimitTold:
    """Tell each caller of the API how many calls are left, and until when."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        limit = getattr(request, "rate_limit", None)
        if limit is not None:
            for name, value in limit.headers.items():
                response[name] = value
        return response


class ClientAddress:
    """
    Put the caller's own address in REMOTE_ADDR where a number of our own proxies stand in front.

    Each proxy adds the address it was called from to the end of X-Forwarded-For, so only the last
    PROXY_COUNT entries were written by ours: what stands before them is whatever a caller made up.
    Without PROXY_COUNT the header is not read.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        count = settings.PROXY_COUNT
        hops = [hop.strip() for hop in request.headers.get("X-Forwarded-For", "").split(",")]
        if count and len(hops) >= count:
            with suppress(ValueError):
                request.META["REMOTE_ADDR"] = str(ip_address(hops[-count]))
        return self.get_response(request)


class Packing(GZipMiddleware):
    """
    Pack pages, scripts and styles for the way; the API is left as it is.

    Packing would turn the marks by which API callers guard a change into weak ones. Django pads
    what it packs, so that a form's secret cannot be read from its length.
    """

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """Pack an answer unless it is the API's or packed already."""
        if request.path.startswith("/api/"):
            return response
        return super().process_response(request, response)


class ContentPolicy:
    """Let pages load only what this server serves."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if "Content-Security-Policy" not in response:
            docs = request.path == DOCS_PATH
            response["Content-Security-Policy"] = DOCS_POLICY if docs else POLICY
        response.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        if request.path.startswith("/api/"):
            response.setdefault("Cache-Control", "private, no-store")
        return response
