"""Writes: bring in route templates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction

from planning.routes.models import Route, RouteStep

SOURCE = "common practice, no source"


@transaction.atomic
def load_routes(rows: Iterable[Mapping[str, Any]]) -> list[Route]:
    """Bring in example routes; a route that is there already is left as the shop has it."""
    kept = []
    for row in rows:
        route, new = Route.objects.get_or_create(
            code=row["code"], defaults={"name": row["name"], "kind": row["kind"]}
        )
        if new:
            set_steps(route, row["steps"])
        kept.append(route)
    return kept


@transaction.atomic
def set_steps(route: Route, steps: Iterable[Mapping[str, Any]]) -> None:
    """Give a route its steps, in the order given; pours that copied the old ones keep them."""
    route.steps.all().delete()
    RouteStep.objects.bulk_create(
        RouteStep(route=route, order=10 * n, **{"source": SOURCE, **step})
        for n, step in enumerate(steps, start=1)
    )
