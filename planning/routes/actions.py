"""Writes: bring in route templates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from django.db import transaction

from planning.routes.models import Per, Route, RouteStep, RouteStepMaterial
from shared.errors import Invalid
from shop import stores

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
    steps = list(steps)
    used = _materials(steps)
    route.steps.all().delete()
    made = RouteStep.objects.bulk_create(
        RouteStep(
            route=route,
            order=10 * n,
            **{"source": SOURCE} | {k: v for k, v in step.items() if k != "materials"},
        )
        for n, step in enumerate(steps, start=1)
    )
    RouteStepMaterial.objects.bulk_create(
        RouteStepMaterial(step=step, **row)
        for step, rows in zip(made, used, strict=True)
        for row in rows
    )


def _materials(steps: list[Mapping[str, Any]]) -> list[list[dict[str, Any]]]:
    """Return what each step uses up, materials by id; refuse unknown codes and repeated rows."""
    asked = [list(step.get("materials") or ()) for step in steps]
    codes = {row["material"] for rows in asked for row in rows}
    ids = {info.code: info.id for info in stores.materials_by_code(codes)}
    used: list[list[dict[str, Any]]] = []
    for n, rows in enumerate(asked):
        seen: set[tuple[str, str]] = set()
        used.append([])
        for m, row in enumerate(rows):
            code, per = row["material"], row.get("per", Per.TOOL)
            where = f"steps/{n}/materials/{m}/material"
            if code not in ids:
                words = f"{code} is not the code of a material; enter the material first."
                raise Invalid.one(where, "does_not_exist", words, value=code)
            if (code, per) in seen:
                words = f"{code} is named twice; give its quantity in one row."
                raise Invalid.one(where, "twice", words, value=code)
            seen.add((code, per))
            quantity = Decimal(row["quantity"])
            used[-1].append({"material_id": ids[code], "quantity": quantity, "per": per})
    return used


@transaction.atomic
def make_route(*, code: str, name: str, kind: str, steps: Iterable[Mapping[str, Any]]) -> Route:
    """Add a route of the shop's own."""
    _check(kind, steps := list(steps))
    route = Route.objects.create(code=code, name=name, kind=kind)
    set_steps(route, steps)
    return route


@transaction.atomic
def change_route(*, route: Route, changes: Mapping[str, Any]) -> Route:
    """Change a route; the pours that were made from it keep the steps they have."""
    changes = dict(changes)
    steps = changes.pop("steps", None)
    for name, value in changes.items():
        setattr(route, name, value)
    route.save()
    if steps is not None:
        _check(route.kind, steps := list(steps))
        set_steps(route, steps)
    return Route.objects.prefetch_related("steps__materials__material").get(pk=route.pk)


def _check(kind: str, steps: list[Mapping[str, Any]]) -> None:
    halves = {step.get("half", "A") for step in steps}
    if kind == "single" and "B" in halves:
        raise Invalid.one(
            "steps", "half", "A single-sided route has steps for half A only; remove those of B."
        )
    for n, step in enumerate(steps):
        longest = step.get("longest_wait_min")
        if longest is not None and longest < step.get("wait_min", 0):
            raise Invalid.one(
                f"steps/{n}/longest_wait_min",
                "below_wait",
                f"longest_wait_min is {longest} min; it must not be below wait_min, "
                f"{step.get('wait_min', 0)} min.",
                value=longest,
                limit=step.get("wait_min", 0),
                unit="min",
            )
