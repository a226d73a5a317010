"""
The Celery application and its timetable.

The timetable is code: `shop.tasks` and `planning.tasks` each may hold a dict `SCHEDULE`, in the
form of Celery's `beat_schedule`, and the worker merges them when it loads its tasks.
"""

from __future__ import annotations

import os
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from celery import Celery
from celery.signals import import_modules

from shared.config import file_broker

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.dev")

APPS = ("shared", "shop", "planning")

file_broker.register()
app = Celery("shop")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(APPS)


def timetable() -> dict[str, Any]:
    """Return the entries of all apps; the same name twice is a mistake."""
    entries: dict[str, Any] = {}
    for name in APPS:
        if find_spec(f"{name}.tasks") is None:
            continue
        for entry, what in getattr(import_module(f"{name}.tasks"), "SCHEDULE", {}).items():
            if entry in entries:
                raise ValueError(f"Two timetable entries are called {entry}.")
            entries[entry] = what
    return entries


@import_modules.connect(weak=False)
def fill_timetable(sender: Any = None, **_: Any) -> None:
    """Put the timetable into the application once the models can be imported."""
    app.conf.beat_schedule = timetable()
