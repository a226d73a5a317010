"""Two addresses for whoever watches the service; neither names a version or a host."""

from __future__ import annotations

import shutil
from importlib import import_module
from importlib.util import find_spec

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path

LEAST_FREE_BYTES = 200_000_000


def livez(request: HttpRequest) -> HttpResponse:
    """Say that the process answers."""
    return HttpResponse("ok\n", content_type="text/plain")


def readyz(request: HttpRequest) -> JsonResponse:
    """Say whether work can be done, and which part cannot."""
    checks = {"database": _database(), "disk": _disk()}
    if checks["database"]:
        checks["migrations"] = _migrations()
        if find_spec("planning.reminders.heartbeat"):
            checks["reminders"] = import_module("planning.reminders.heartbeat").is_alive()
    ready = all(checks.values())
    words = {name: "ok" if fine else "failing" for name, fine in checks.items()}
    return JsonResponse(words, status=200 if ready else 503)


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
