"""
Figures for a monitoring system, in the text format of Prometheus.

`METRICS_TOKEN` opens the address; without it there is none. Counts of calls are those of this
process, or of all processes of this machine where `PROMETHEUS_MULTIPROC_DIR` names a folder that
is emptied before the start. What waits in the database is asked at each reading, so it is the
same from whichever process it is read.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from functools import lru_cache
from hmac import compare_digest
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import path
from django.views.decorators.http import require_safe

from shared import clock
from shared.gauges import gauges

BUCKETS_S = (0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)


@lru_cache(maxsize=1)
def _calls() -> Any:
    from prometheus_client import Histogram

    return Histogram(
        "shop_http_request_seconds",
        "Time to answer a call, by the name of its address, its method and its status.",
        ("address", "method", "status"),
        buckets=BUCKETS_S,
    )


class CallTimes:
    """Count every call and how long its answer took, where figures are read at all."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not settings.METRICS_TOKEN:
            return self.get_response(request)
        began = time.perf_counter()
        response = self.get_response(request)
        match = request.resolver_match
        # The name and not the path: paths hold ids, and each would begin a series of its own.
        name = (match.view_name if match else "") or "none"
        method = request.method if request.method in _METHODS else "other"
        _calls().labels(name, method, response.status_code).observe(time.perf_counter() - began)
        return response


_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


class _FromDatabase:
    """Hands the figures of the apps over as they are now."""

    def collect(self) -> Iterator[Any]:
        from prometheus_client.core import GaugeMetricFamily

        for gauge in gauges(clock.now()):
            yield GaugeMetricFamily(gauge.name, gauge.about, value=gauge.value)


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Answer all figures to who holds the token."""
    if not settings.METRICS_TOKEN:
        raise Http404
    given = request.headers.get("Authorization", "")
    if not compare_digest(given.encode(), f"Bearer {settings.METRICS_TOKEN}".encode()):
        response = HttpResponse("Send the token of METRICS_TOKEN as a bearer.\n", status=401)
        response["WWW-Authenticate"] = "Bearer"
        return response
    from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
    from prometheus_client.multiprocess import MultiProcessCollector

    _calls()
    registry = CollectorRegistry()
    registry.register(_FromDatabase())
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        MultiProcessCollector(registry)
        body = generate_latest(registry)
    else:
        from prometheus_client import REGISTRY

        body = generate_latest(REGISTRY) + generate_latest(registry)
    return HttpResponse(body, content_type=CONTENT_TYPE_LATEST)


urlpatterns = [path("metrics", metrics, name="metrics")]
