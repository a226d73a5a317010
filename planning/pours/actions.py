"""Writes: take in tool orders with their pours, change and cancel them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import F

from planning.order_events.actions import add_changes, add_event
from planning.pours.leaving import plan_again, take_out_of_plan
from planning.pours.models import Pour, PourStatus, PourStep, PourStepMaterial, ToolOrder
from planning.pours.shapes import Casting, casting_of
from planning.routes.models import Per, Phase, Route, RouteStep
from planning.system_data import masses_kg
from shared import clock
from shared.errors import Invalid, ShopError
from shared.events.kinds import EventKind
from shop import stores

DUE_BEFORE, DUE_AFTER = timedelta(days=92), timedelta(days=5 * 365)
"""An order may be entered late, but not by years; chosen here, no source."""
QUANTUM = Decimal("0.0001")
FROM_PATTERN = (
    "length_mm",
    "width_mm",
    "depth_mm",
    "draft_deg",
    "pattern_l",
    "pattern_height_mm",
    "stated_l",
)
GEOMETRY_FIELDS = (
    "geometry",
    *FROM_PATTERN,
    "shape_rows",
    "brush_coat_kg",
    "release_area_m2",
)


class OrderFixed(ShopError):
    """An order or pour that has gone too far to be changed."""


@transaction.atomic
def take_order(
    *,
    site_id: int,
    number: str,
    tool_code: str,
    tool_name: str,
    route: Route,
    due_on: date,
    pours: Iterable[Mapping[str, Any]],
    now: datetime,
    customer: str = "",
    customer_reference: str = "",
    earliest_on: date | None = None,
    priority: int = 1,
    service_c: Decimal | None = None,
    remarks: str = "",
    copy_of: ToolOrder | None = None,
    by: Any = None,
) -> ToolOrder:
    """Write down a tool order with its pours and the steps of its route."""
    rows = list(pours)
    _check_halves(route, rows)
    if words := unlikely_due(due_on, now.date()):
        raise Invalid.one("due_on", "unlikely", words, value=str(due_on))
    if earliest_on and due_on < earliest_on:
        raise Invalid.one(
            "due_on",
            "before_earliest",
            f"due_on is {due_on}; it must not be before earliest_on, {earliest_on}.",
            value=str(due_on),
            limit=str(earliest_on),
        )
    if ToolOrder.objects.filter(site_id=site_id, number=number).exists():
        raise Invalid.one(
            "number", "taken", f"number {number} is taken; give another or leave it out."
        )
    tool = stores.find_tool(site_id, tool_code) or stores.make_tool(
        site_id=site_id,
        code=tool_code,
        name=tool_name or tool_code,
        kind=route.kind,
        customer=customer,
        service_c=service_c,
    )
    order = ToolOrder.objects.create(
        site_id=site_id,
        number=number,
        customer=customer,
        customer_reference=customer_reference,
        tool_id=tool.id,
        route=route,
        earliest_on=earliest_on,
        due_on=due_on,
        priority=priority,
        remarks=remarks,
        copy_of=copy_of,
        created_at=now,
    )
    below = None
    for n, fields in sorted(enumerate(rows), key=lambda row: row[1].get("half", "A")):
        with under(f"pours/{n}"):
            below = add_pour(order=order, fields=fields, stands_on=below)
    told = {"due_on": due_on, "priority": priority, "tool": tool_code, "route": route.code}
    add_event(order=order, kind=EventKind.TAKEN, at=now, new=told, by=by)
    return order


def unlikely_due(due_on: date, today: date) -> str:
    """Return what is odd about a due date that is a slip of the keyboard; empty if nothing is."""
    first, last = today - DUE_BEFORE, today + DUE_AFTER
    if first <= due_on <= last:
        return ""
    return f"due_on is {due_on}; give a day from {first} to {last}, and check the year."


@contextmanager
def under(place: str) -> Iterator[None]:
    """Say of fields refused inside where in the whole request they stand."""
    try:
        yield
    except Invalid as error:
        moved = (
            replace(problem, pointer=f"#/{place}/{problem.pointer.removeprefix('#/')}")
            for problem in error.problems
        )
        raise Invalid(error.message, tuple(moved)) from error


def _check_halves(route: Route, rows: list[Mapping[str, Any]]) -> None:
    asked = sorted(row.get("half", "A") for row in rows)
    wanted = ["A", "B"] if route.kind == "matched" else ["A"]
    if asked != wanted:
        raise Invalid.one(
            "pours",
            "halves",
            f"pours are for halves {', '.join(asked) or 'none'}; route {route.code} casts "
            f"{' and '.join(wanted)}.",
        )


def add_pour(*, order: ToolOrder, fields: Mapping[str, Any], stands_on: Pour | None) -> Pour:
    """Add one pour to an order, with its casting worked out and its route's steps copied."""
    system = stores.system(fields["system_id"])
    casting = casting_of({"geometry": "box", **fields}, system.mixed_density_kg_l)
    kept = {
        name: fields[name]
        for name in (
            *GEOMETRY_FIELDS,
            "half",
            "system_id",
            "release_recipe_id",
            "tool_side",
            "mix_c",
            "mould_c",
            "oven_c",
            "may_share",
            "place_kind",
            "same_place",
        )
        if fields.get(name) is not None
    }
    if kept.get("same_place") and stands_on is None:
        kept["same_place"] = False
    kept["release_area_m2"] = _dec(casting.release_area_m2)
    if stands_on is not None:
        kept.setdefault("tool_side", "epoxy")
    pour = Pour.objects.create(
        order=order,
        stands_on=stands_on,
        earliest_on=fields.get("earliest_on") or order.earliest_on,
        due_on=fields.get("due_on") or order.due_on,
        priority=fields.get("priority") or order.priority,
        **kept,
        **_figures(casting),
    )
    copy_steps(pour, order.route)
    ask_for_material(pour)
    return pour


def _figures(casting: Casting) -> dict[str, Any]:
    return {
        "volume_l": _dec(casting.volume_l),
        "mass_kg": _dec(casting.mass_kg),
        "layers": list(casting.layers),
    }


def _dec(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(QUANTUM)


NAMED = 60
"""Characters of a release agent's name that fit into the name of its coats."""
Used = dict[int, Decimal]
"""How much a step uses up of each material, by id, in the material's unit."""


def copy_steps(pour: Pour, route: Route) -> None:
    """Give a pour the steps of a route, with the coats of its release recipe."""
    area_m2 = float(pour.release_area_m2 or 0)
    templates = route.steps.prefetch_related("materials")
    steps: list[tuple[PourStep, Used]] = []
    for phase in (Phase.BEFORE, Phase.AFTER):
        order = 0
        for template in templates.filter(half=pour.half, phase=phase):
            for step, used in _steps_from(template, pour, area_m2):
                order += 10
                step.order = order
                steps.append((step, used))
    PourStep.objects.bulk_create(step for step, _ in steps)
    PourStepMaterial.objects.bulk_create(
        PourStepMaterial(step=step, material_id=material_id, quantity=quantity)
        for step, used in steps
        for material_id, quantity in used.items()
        if quantity > 0
    )


def _steps_from(template: RouteStep, pour: Pour, area_m2: float) -> list[tuple[PourStep, Used]]:
    if template.coats and pour.release_recipe_id:
        return _coats(template, pour, area_m2)
    copied = {
        field.name: getattr(template, field.name)
        for field in RouteStep._meta.concrete_fields
        if field.name not in ("id", "route", "half", "coats", "order")
    }
    used: Used = {}
    for row in template.materials.all():
        quantity = row.quantity * (_dec(area_m2) if row.per == Per.SQUARE_METRE else 1)
        used[row.material_id] = used.get(row.material_id, Decimal(0)) + quantity.quantize(QUANTUM)
    return [(PourStep(pour=pour, **copied), used)]


def _coats(template: RouteStep, pour: Pour, area_m2: float) -> list[tuple[PourStep, Used]]:
    assert pour.release_recipe_id is not None
    recipe = stores.recipe(pour.release_recipe_id)
    hands = max(recipe.least_hands_min, math.ceil(float(recipe.hands_min_per_m2) * area_m2))
    used = {recipe.material.id: _dec(float(recipe.material.use_per_m2 or 0) * area_m2)}
    buff = "" if recipe.haze_min is None else f", haze {recipe.haze_min} min and buff"
    coats = [
        PourStep(
            pour=pour,
            phase=template.phase,
            name=f"{recipe.material.name[:NAMED]}{buff}, coat {number} of {recipe.coats}",
            hands_min=hands,
            wait_min=recipe.last_dry_min if number == recipe.coats else recipe.dry_min,
            longest_wait_min=recipe.longest_to_pour_min if number == recipe.coats else None,
            skill=template.skill,
            hands=template.hands,
            holds_place=template.holds_place,
            coat_number=number,
            source=template.source,
        )
        for number in range(1, recipe.coats + 1)
    ]
    found = [(step, used) for step in coats]
    if recipe.sealer is not None:
        sealing = PourStep(
            pour=pour,
            phase=template.phase,
            name=f"{recipe.sealer.name[:NAMED]}, before the first coat",
            hands_min=hands,
            wait_min=recipe.sealer_dry_min,
            skill=template.skill,
            hands=template.hands,
            holds_place=template.holds_place,
            source=template.source,
        )
        sealer = {recipe.sealer.id: _dec(float(recipe.sealer.use_per_m2 or 0) * area_m2)}
        found.insert(0, (sealing, sealer))
    return found


def ask_for_material(pour: Pour) -> None:
    """Tell the stores what this pour will need and when, until a plan says it exactly."""
    source = f"pour:{pour.pk}"
    if pour.status != PourStatus.ASKED or pour.order.held_at is not None:
        stores.replace_requirements(site_id=pour.order.site_id, source=source, rows=())
        return
    system = stores.system(pour.system_id)
    losses = 1 + float(system.residue_share)
    total = float(pour.mass_kg) * losses + float(system.residue_fixed_kg)
    zone = ZoneInfo(pour.order.site.time_zone)
    when = datetime.combine(pour.due_on, time.min, zone)
    rows = [
        stores.NeedRow(material_id, f"{pour}", _dec(kg), when, False)
        for material_id, kg in masses_kg(system, total).items()
    ]
    stores.replace_requirements(
        site_id=pour.order.site_id, source=source, rows=[row for row in rows if row.quantity > 0]
    )


WHEN = {"due_on", "earliest_on", "priority"}
"""When a pour is wanted, not what it is: planned work stays until it is planned again."""


@transaction.atomic
def change_pour(
    *,
    pour: Pour,
    changes: Mapping[str, Any],
    now: datetime | None = None,
    by: Any = None,
    reason: str = "",
) -> Pour:
    """
    Change a pour of which nothing has been cast; its casting is worked out again.

    One that is planned is first taken out of the plan, unless only its dates or its priority
    change; either way a new plan is asked for with the reason.

    Its steps are copied anew only where their coats change with the area or the recipe.
    """
    rows = Pour.objects.select_for_update(of=("self",)).select_related("order__site")
    pour = rows.get(pk=pour.pk)
    now = now or clock.now()
    before = {name: getattr(pour, name) for name in changes}
    changed = {name for name, value in changes.items() if value != before[name]}
    if pour.status == PourStatus.PLANNED and changed:
        _leave_plan(pour, changed, reason, now, by)
        pour.refresh_from_db()
    stays = pour.status == PourStatus.PLANNED and changed <= WHEN
    if pour.status != PourStatus.ASKED and not stays:
        raise OrderFixed(
            f"{pour} is {pour.get_status_display().lower()}; only a pour of which nothing has "
            "been cast can be changed.",
            code="pour_fixed",
        )
    _recast(pour, changes)
    after = {name: getattr(pour, name) for name in before}
    add_changes(
        order=pour.order, pour=pour, before=before, after=after, at=now, reason=reason, by=by
    )
    return pour


def _leave_plan(pour: Pour, changed: set[str], reason: str, now: datetime, by: Any) -> None:
    """Take a planned pour out of the plan where it becomes another casting; plan again."""
    words = reason or f"{pour} was changed ({', '.join(sorted(changed))})"
    if changed <= WHEN:
        plan_again(site=pour.order.site, reason=words, now=now, by=by)
    else:
        take_out_of_plan(pours=[pour], reason=words, now=now, by=by)


def _recast(pour: Pour, changes: Mapping[str, Any]) -> None:
    """Set fields of a pour and work its casting out again."""
    changes = dict(changes)
    if pour.geometry == "mesh" and "pattern" not in changes:
        _leave_pattern(pour, changes)
    before = (pour.release_area_m2, pour.release_recipe_id)
    for name, value in changes.items():
        setattr(pour, name, value)
    fields = {name: getattr(pour, name) for name in GEOMETRY_FIELDS}
    if "release_area_m2" not in changes and set(changes) & set(GEOMETRY_FIELDS):
        fields["release_area_m2"] = None
    casting = casting_of(fields, stores.system(pour.system_id).mixed_density_kg_l)
    pour.release_area_m2 = _dec(casting.release_area_m2)
    for name, value in _figures(casting).items():
        setattr(pour, name, value)
    pour.version = F("version") + 1
    pour.save()
    pour.refresh_from_db()
    if (pour.release_area_m2, pour.release_recipe_id) != before:
        signed = pour.steps.filter(done_at__isnull=False).count()
        if signed:
            raise OrderFixed(
                f"{signed} steps of {pour} are signed; its area and release recipe, which its "
                "coats follow from, can no longer be changed.",
                code="steps_signed",
            )
        pour.steps.all().delete()
        copy_steps(pour, pour.order.route)
    ask_for_material(pour)


def _leave_pattern(pour: Pour, changes: dict[str, Any]) -> None:
    """Let a pour go from its pattern when it is given another geometry, and only then."""
    if changes.get("geometry", "mesh") != "mesh":
        changes |= {"pattern": None, "shape_rows": []}
        return
    for name in FROM_PATTERN:
        if name in changes and changes[name] != getattr(pour, name):
            raise Invalid.one(
                name,
                "from_pattern",
                f"{name} is {changes[name]}; the sizes of {pour} come from its pattern. Use "
                "another pattern, or set geometry to box or volume first.",
                value=changes[name],
            )


def next_number(site_id: int, day: date) -> str:
    """Return a free order number such as T26-0042."""
    start = f"T{day:%y}-"
    used = ToolOrder.objects.filter(site_id=site_id, number__startswith=start)
    numbers = [number.removeprefix(start) for number in used.values_list("number", flat=True)]
    highest = max((int(number) for number in numbers if number.isdecimal()), default=0)
    return f"{start}{highest + 1:04d}"


@transaction.atomic
def take_orders(rows: Iterable[Mapping[str, Any]]) -> list[ToolOrder]:
    """Take in several orders or none of them; a number taken meanwhile is named."""
    orders = []
    try:
        for n, row in enumerate(rows):
            with under(f"items/{n}"):
                orders.append(take_order(**row))
    except IntegrityError as error:
        raise ShopError(
            "One of these order numbers was taken meanwhile; nothing was stored. Try again.",
            code="number_taken",
        ) from error
    return orders
