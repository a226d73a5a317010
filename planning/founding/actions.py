"""Founding a shop in an empty installation: its site, its administrator, the usual routes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from planning.routes.actions import load_routes
from shared.access import actions as access
from shared.access.models import Site, User


def usual_routes() -> list[dict[str, Any]]:
    """
    Return the example routes without the materials their steps use up.

    A new shop has no materials yet; what a step uses up is added to it later.
    """
    path = Path(settings.ROOT) / "fixtures" / "reference" / "routes.json"
    routes: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))
    return [
        {
            **route,
            "steps": [
                {k: v for k, v in step.items() if k != "materials"} for step in route["steps"]
            ],
        }
        for route in routes
    ]


@transaction.atomic
def found(**values: Any) -> tuple[Site, User]:
    """
    Found the shop and give it the usual routes of a tool to begin with.

    Parameters
    ----------
    values
        As `shared.access.actions.found_shop` takes them.
    """
    site, administrator = access.found_shop(**values)
    load_routes(usual_routes())
    return site, administrator
