"""The day's sheet as plain values: what a page, a PDF and a JSON answer all show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batch_sheets.mix_heat import mix_heat
from planning.batch_sheets.reading import Read, confirmed_plans, read, window
from planning.batch_sheets.words import POURING_STEPS
from planning.batches.barred import barred_of, barred_rows
from planning.batches.changes import changes_since, planned_of
from planning.batches.lines import live_bounds, weighed_into
from planning.batches.models import Batch
from planning.batches.stirring import still_counts
from planning.clocks.deadline import Deadline, deadlines, minutes_by_temperature
from planning.clocks.models import Waits
from planning.clocks.standing import Standing, running
from planning.clocks.words import TITLES, edges_words
from planning.core.casting.line_bounds import Bounds
from planning.pours.models import PourStatus, PourStep, PourStepMaterial
from planning.schedule.models import WeekPlan
from planning.system_data import components_of, ratios_of
from shared import hazard_statements
from shared.access.models import Site
from shared.units import week_of
from shop import stores
from shop.stores_types import MaterialInfo, SystemInfo, ToolWork


def sheet(
    *,
    site: Site,
    day: date,
    person_id: int | None = None,
    now: datetime | None = None,
    on_paper: bool = False,
) -> dict[str, Any]:
    """
    Return everything a technician needs for a day at a site, theirs or everybody's.

    `on_paper` adds the pot life against temperature, which is slow to work out and which only
    paper needs: all else is live.
    """
    found = read(site, day, day)
    (shown,) = sheets(found, [day], person_id, now)
    _add_materials(shown["steps"])
    if on_paper:
        _add_pot_lives(shown["batches"], found.batches)
    return shown


def _add_materials(rows: Iterable[dict[str, Any]]) -> None:
    """Say what each step uses up in all, in the material's own unit; one query."""
    used: dict[int, list[dict[str, Any]]] = {row["id"]: [] for row in rows}
    for row in rows:
        row["materials"] = used[row["id"]]
    for one in PourStepMaterial.objects.filter(step__in=used).select_related("material"):
        used[one.step_id].append(
            {
                "material": one.material.code,
                "name": one.material.name,
                "quantity": one.quantity,
                "unit": one.material.unit,
            }
        )


def _add_pot_lives(rows: Iterable[dict[str, Any]], batches: Iterable[Batch]) -> None:
    by_id = {batch.pk: batch for batch in batches}
    info = {s.id: s for s in stores.systems({batch.system_id for batch in by_id.values()})}
    for row in rows:
        batch = by_id[row["id"]]
        lives = minutes_by_temperature(batch, info[batch.system_id], row["expected_c"])
        row["pour_by_mix_c"] = [{"celsius": c, "minutes": minutes} for c, minutes in lives]


def sheets(
    found: Read, days: Sequence[date], person_id: int | None = None, now: datetime | None = None
) -> list[dict[str, Any]]:
    """Return the sheets of some days, drawn from what was read for all of them at once."""
    info = {s.id: s for s in stores.systems({batch.system_id for batch in found.batches})}
    until = deadlines([b for b in found.batches if b.planned_start >= found.begins], info.values())
    return [_sheet(found, day, person_id, now, info, until) for day in days]


def _sheet(
    found: Read,
    day: date,
    person_id: int | None,
    now: datetime | None,
    systems: Mapping[int, SystemInfo],
    until: Mapping[int, Deadline],
) -> dict[str, Any]:
    site, paper = found.site, found.papers.get(day)
    batches, steps = found.batches_on(day), found.steps_on(day)
    changes = (
        [] if paper is None else changes_since(paper.planned, planned_of(site, batches, steps))
    )
    revision = _revision(found.plans.get(week_of(day), ()), batches)
    if person_id is not None:
        batches = [b for b in batches if person_id in {p.pk for p in b.people.all()}]
        steps = [s for s in steps if person_id in {p.pk for p in s.planned_people.all()}]
    rows = [batch_row(batch, systems[batch.system_id], until[batch.pk]) for batch in batches]
    used = [systems[pk] for pk in sorted({batch.system_id for batch in batches})]
    codes = [code for one in used for code in _hazards(one)]
    cautions = [{"code": code, "text": text} for code, text in hazard_statements.lines(codes)]
    for batch, row in zip(batches, rows, strict=True):
        info = systems[batch.system_id]
        own = set(_hazards(info))
        row["cautions"] = [one for one in cautions if one["code"] in own]
    return {
        "site": {"code": site.code, "name": site.name, "time_zone": site.time_zone},
        "day": day,
        "revision": revision,
        "printed": None
        if paper is None
        else {"at": paper.printed_at, "revision": paper.revision, "by": str(paper.by or "")},
        "changed_since_print": bool(changes),
        "changes": changes,
        **fetch_lists(batches, systems),
        "steps": [step_row(step) for step in steps],
        "batches": rows,
        "tools": [tool_row(work) for work in found.tool_work.get(day, ())],
        "demoulds": _demoulds(found.castings, site, day, now),
        "totals": totals_of(rows),
        "cautions": cautions,
        "pouring_steps": list(POURING_STEPS),
    }


def _hazards(info: SystemInfo) -> tuple[str, ...]:
    return tuple(code for one in info.materials for code in one.hazard_statements)


def revision_of(site: Site, day: date, batches: Iterable[Batch]) -> str:
    """Name the plan that a day's sheet is drawn from, the last one that was confirmed."""
    return _revision(confirmed_plans(site, [week_of(day)]).get(week_of(day), ()), batches)


def _revision(own: Iterable[WeekPlan], batches: Iterable[Batch]) -> str:
    plans = [*own, *(b.plan for b in batches if b.plan is not None)]
    plans = [plan for plan in plans if plan.confirmed_at is not None]
    if not plans:
        return "no confirmed plan"
    plan = max(plans, key=lambda plan: (plan.confirmed_at, plan.pk))
    return f"{plan.week}, revision {plan.revision}"


def batch_row(batch: Batch, info: SystemInfo, deadline: Deadline) -> dict[str, Any]:
    """Return one batch of a sheet."""
    bounds = live_bounds(batch, info)
    lines = [line_row(line, bounds[line.pk]) for line in batch.lines.all()]
    for row, line in zip(lines, batch.lines.all(), strict=True):
        barred = barred_of(line, batch.site, batch.planned_start)
        row["barred"] = "" if barred is None else f"{barred.words} {barred.what_to_do}"
    heat = mix_heat(batch, info)
    return {
        "id": batch.pk,
        "number": batch.number,
        "status": batch.status,
        "system": info.name,
        "mix_min": info.mix_min,
        "ratio": info.ratio_words,
        "hardener_per_100": info.hardener_per_100,
        "ratio_tolerance_percent": info.ratio_tolerance_percent,
        "ratios": [
            {
                "role": role,
                "per_100": Decimal(repr(ratio.hardener_per_100)),
                "tolerance_percent": Decimal(repr(ratio.tolerance_percent)),
            }
            for role, ratio in ratios_of(info, {line["role"] for line in lines}).items()
        ],
        "people": [person.name for person in batch.people.all()],
        "mixer": "" if batch.mixer is None else batch.mixer.name,
        "scale": "" if batch.scale is None else batch.scale.name,
        "readability_g": None if batch.scale is None else batch.scale.readability_g,
        "start_at": batch.planned_start,
        "contact_at": deadline.counts_from,
        "pour_start_at": batch.planned_pour_start,
        "pour_end_at": batch.planned_pour_end,
        "end_at": batch.planned_end,
        "pot_life_min": deadline.pot_life_min,
        "pot_life_basis": deadline.basis,
        "latest_pour_at": deadline.pour_by,
        "mix_c": heat.planned_c,
        "expected_c": heat.expected_c,
        "mix_most_c": heat.most_c,
        "mix_words": heat.words,
        "assumed": [{"code": one.code, "text": one.words} for one in heat.cautions],
        "mixed_kg": batch.mixed_kg,
        "target_kg": sum((line["target_kg"] for line in lines), Decimal(0)),
        "poured_kg": sum((portion.kg for portion in batch.portions.all()), Decimal(0)),
        "loss_kg": batch.mixed_kg - sum((p.kg for p in batch.portions.all()), Decimal(0)),
        "lines": lines,
        "barred": barred_rows(batch),
        "portions": [portion_row(portion) for portion in batch.portions.all()],
        "stir": _to_stir(batch, info),
    }


def _to_stir(batch: Batch, info: SystemInfo) -> list[str]:
    """Return what to stir before weighing, each with its cans."""
    found = []
    for role, material in components_of(info).items():
        lines = [line for line in batch.lines.all() if line.role == role]
        cans = list(dict.fromkeys(line.container.code for line in lines))
        if material.stir_before_use and cans:
            found.append(
                f"{material.name} in {'can' if len(cans) == 1 else 'cans'} {', '.join(cans)}"
            )
    return found


def line_row(line: Any, bounds: Bounds) -> dict[str, Any]:
    """Return one row to weigh: which lot, from which shelf, how much, how near as things stand."""
    container = line.container
    return {
        "id": line.pk,
        "role": line.role,
        "material": container.lot.material.name,
        "container": container.code,
        "lot": container.lot.code,
        "expires_on": container.lot.expires_on,
        "shelf": "" if container.location is None else container.location.name,
        "target_kg": line.target_kg,
        "aim_kg": bounds.aim_g / 1000,
        "low_kg": bounds.low_g / 1000,
        "high_kg": bounds.high_g / 1000,
        "weighed_kg": weighed_into(line),
    }


def portion_row(portion: Any) -> dict[str, Any]:
    """Return where a part of a batch goes."""
    lift, pour = portion.lift, portion.lift.pour
    lifts = sorted(pour.lifts.all(), key=lambda one: one.number)
    above = next((one for one in lifts if one.number > lift.number), None)
    return {
        "id": portion.pk,
        "pour": str(pour),
        "pour_id": pour.pk,
        "tool": pour.order.tool.name,
        "half": pour.half,
        "lift": lift.number,
        "lifts": len(lifts),
        "attend_min": lift.attend_min,
        "gap_least_min": lift.gap_least_min,
        "gap_greatest_min": lift.gap_greatest_min,
        "next_lift": None if above is None else above.number,
        "next_at": None if above is None else above.planned_start,
        "depth_mm": lift.depth_mm,
        "place": "" if lift.place is None else lift.place.name,
        "kg": portion.kg,
        "brush_coat_kg": pour.brush_coat_kg if lift.number == 1 else Decimal(0),
        "start_at": portion.planned_start,
        "end_at": portion.planned_end,
        "poured_at": portion.poured_at,
        "poured_kg": portion.poured_kg,
        "lost_kg": portion.lost_kg,
        "abrade_first": lift.abrade_first,
        "mould_c": pour.mould_c,
        "oven_c": pour.oven_c,
    }


def step_row(step: PourStep) -> dict[str, Any]:
    """Return one step of work of a sheet."""
    dry = None
    if step.planned_end is not None and step.wait_min:
        dry = (step.oven_start or step.planned_end) + timedelta(minutes=step.wait_min)
    return {
        "id": step.pk,
        "name": step.name,
        "phase": step.phase,
        "pour": str(step.pour),
        "pour_id": step.pour_id,
        "tool": step.pour.order.tool.name,
        "people": [person.name for person in step.planned_people.all()],
        "start_at": step.planned_start,
        "end_at": step.planned_end,
        "ready_at": dry,
        "oven": None
        if step.oven is None
        else {"name": step.oven.name, "cycle": step.oven_cycle, "start_at": step.oven_start},
        "is_coat": step.coat_number is not None,
        "checks": step.checks,
        "done_at": step.done_at,
        "waived": step.waived,
        "done_by": step.done_by_id,
        "took_min": step.took_min,
    }


def tool_row(work: ToolWork) -> dict[str, Any]:
    """Return one thing to be done to a tool."""
    return {
        "tool_id": work.tool_id,
        "tool": work.code,
        "name": work.name,
        "place": work.place,
        "work": work.work[:1].upper() + work.work[1:],
        "words": work.words,
        "recipe": work.recipe,
        "due_on": work.due_on,
        "is_due": work.since is not None,
    }


def fetch_lists(
    batches: Iterable[Batch], systems: Mapping[int, SystemInfo]
) -> dict[str, list[dict[str, Any]]]:
    """
    Return what to fetch first, container by container, with warming and stirring.

    A container whose lot is held or out of date stands under `do_not_fetch` instead.
    """
    rows: dict[int, dict[str, Any]] = {}
    for batch in batches:
        info = systems[batch.system_id]
        for line in batch.lines.all():
            material = components_of(info)[line.role]
            row = rows.setdefault(line.container_id, _fetch_row(line, material, batch))
            row["kg"] += line.target_kg
            row["batches"].append(batch.number)
    listed = sorted(rows.values(), key=lambda row: (row["shelf"], row["container"]))
    return {
        "fetch": [row for row in listed if not row["barred"]],
        "do_not_fetch": [row for row in listed if row["barred"]],
    }


def _fetch_row(line: Any, material: MaterialInfo, batch: Batch) -> dict[str, Any]:
    container, lot = line.container, line.container.lot
    barred = barred_of(line, batch.site, batch.planned_start)
    warm = timedelta(hours=float(material.warm_hours)) if material.warm_hours else None
    is_empty = container.balance <= 0 and not weighed_into(line)
    return {
        "container": container.code,
        "material": material.name,
        "lot": lot.code,
        "expires_on": lot.expires_on,
        "shelf": "" if container.location is None else container.location.name,
        "kg": Decimal(0),
        "stir": not still_counts(material, line.stirred_at, batch.planned_start),
        "stirred_at": line.stirred_at if material.stir_before_use else None,
        "warm_from": None if warm is None else batch.planned_start - warm,
        "first_use_at": batch.planned_start,
        "batches": [],
        "barred": barred.words if barred else "It is empty." if is_empty else "",
    }


def demoulds_of(site: Site, day: date, now: datetime | None = None) -> list[dict[str, Any]]:
    """
    Return castings that may be demoulded by the end of a day and are not demoulded yet.

    The latest clock of all its lifts decides, on whatever day it falls due. Where only a reading
    can tell, it is listed from when it makes sense to take one, with what it waits for.
    """
    return _demoulds(running(order__site=site), site, day, now)


def _demoulds(
    castings: Iterable[Standing], site: Site, day: date, now: datetime | None
) -> list[dict[str, Any]]:
    _, end = window(site, day)
    rows = [
        {
            "pour": str(one.pour),
            "pour_id": one.pour.pk,
            "tool": one.pour.order.tool.name,
            "place": "" if one.top.lift.place is None else one.top.lift.place.name,
            "due_at": one.expected_at,
            "ready": now is not None and one.may_demould(now),
            "waits_for": one.waits_for,
            "first": TITLES[Waits(one.last.waits_for)] if one.waits_for else "",
            "basis": one.last.basis,
            "edges": edges_words(one.last.edges),
        }
        for one in castings
        if one.pour.status == PourStatus.CURING
        and one.expected_at is not None
        and one.expected_at < end
    ]
    return sorted(rows, key=lambda row: (row["due_at"], row["pour_id"]))


def totals_of(rows: Iterable[dict[str, Any]]) -> dict[str, Decimal]:
    """Add a sheet up: mixed = poured + losses."""
    rows = list(rows)
    return {
        name: sum((row[name] for row in rows), Decimal(0))
        for name in ("mixed_kg", "target_kg", "poured_kg", "loss_kg")
    }
