"""Two addresses for whoever watches the service; neither names a version or a host."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec

from django.conf import settings
from django.core.cache import caches
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path

LEAST_FREE_BYTES = 200_000_000


def livez(request: HttpRequest) -> HttpResponse:
    """Say that the process answers."""
    return HttpResponse("ok\n", content_type="text/plain")


def readyz(request: HttpRequest) -> JsonResponse:
    """
    Say whether work can be done, and which part cannot.

    Redis is told of and does not count: pages, API and weigh-in go on without it.
    """
    checks = {"database": _database(), "disk": _disk()}
    if checks["database"]:
        checks["migrations"] = _works(_migrations)
        if find_spec("planning.reminders.heartbeat"):
            alive = import_module("planning.reminders.heartbeat").is_alive
            checks["reminders"] = checks["migrations"] and _works(alive)
    ready = all(checks.values())
    if settings.REDIS_URL:
        checks["redis"] = caches["default"].answers()  # type: ignore[attr-defined]
    words = {name: "ok" if fine else "failing" for name, fine in checks.items()}
    return JsonResponse(words, status=200 if ready else 503)


def _works(check: Callable[[], bool]) -> bool:
    try:
        return check()
    except DatabaseError:  # tables that are not there yet, or a database gone meanwhile
        return False


def _database() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except Exception:  # whatever the driver raises, the database cannot be used
        return False
    return True


def _migrations() -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def _disk() -> bool:
    return shutil.disk_usage(settings.DATA).free > LEAST_FREE_BYTES


urlpatterns = [path("livez", livez, name="livez"), path("readyz", readyz, name="readyz")]
