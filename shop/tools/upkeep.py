"""
What each tool wants done and when: sealing, coats, old wax off, inspection, repair.

Page, call, reminder and the morning's sheet ask here, so that they never differ.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Prefetch, QuerySet

from shared import clock
from shared.access.models import Site
from shop.core.recoat import CoatsLeft, shots_left
from shop.core.release_work import (
    MOST_SHOTS,
    Done,
    Face,
    Interval,
    Next,
    Rules,
    cycles,
    face,
    interval,
    next_work,
)
from shop.release_agents.models import ReleaseRecipe
from shop.tools.drifting import Drift, drifts
from shop.tools.inspection_models import ToolFinding
from shop.tools.models import RUN_KINDS, Tool, ToolEvent, ToolEventKind, ToolStatus
from shop.tools.runs import OVER, runs

PACE_DAYS = 90
"""Days back over which the pace of a tool is measured; chosen here."""
RECOAT, INSPECT = "a re-coat", "an inspection"
REPAIR, MEASURE = "a repair", "a measurement"
WORK: dict[Next, str] = {
    "seal": "sealing and first coats",
    "season": "first coats",
    "strip": "old wax off and new coats",
    "re-coat": RECOAT,
}
FACE: dict[str, str] = {
    ToolEventKind.SEAL: "seal",
    ToolEventKind.COAT: "coat",
    ToolEventKind.STRIP: "strip",
    ToolEventKind.STUCK: "stuck",
}
KINDS = [*RUN_KINDS, *FACE, ToolEventKind.CAST, ToolEventKind.INSPECTION]


@dataclass(frozen=True)
class Work:
    """Something that a tool wants: `due_on` as far as it can be told, `since` once it is due."""

    tool: Tool
    work: str
    words: str
    due_on: date | None
    since: datetime | None
    recipe: str = ""
    """How it is done, where a recipe says it."""


@dataclass(frozen=True)
class Coating:
    """Release agent on one tool: what is on it, what comes next, and the shots it lasts."""

    face: Face
    next: Next
    interval: Interval | None
    left: CoatsLeft | None
    work: Work | None
    recipe: ReleaseRecipe | None


@dataclass(frozen=True)
class Upkeep:
    """All that one tool wants, and the figures behind it."""

    coating: Coating | None
    inspection_left: int | None
    works: tuple[Work, ...]


def rules_of(tool: Tool, recipe: ReleaseRecipe | None) -> Rules | None:
    """Return how a tool is coated: of recipe and tool the fewer shots; None where nobody says."""
    if recipe is None:
        if not tool.shots_per_coat:
            return None
        return Rules(shots_per_coat=tool.shots_per_coat, bare_first=False)
    shots = [n for n in (tool.shots_per_coat, recipe.shots_per_coat) if n]
    return Rules(
        coats=recipe.coats,
        recoat_coats=recipe.recoat_coats,
        sealed_first=recipe.sealer_id is not None,
        shots_per_coat=min(shots, default=None),
        days_per_coat=recipe.days_per_coat,
        strip_after=recipe.strip_after,
    )


def recipes_of(tools: Iterable[Tool]) -> dict[int, ReleaseRecipe]:
    """Return the release recipes of some tools by id; one query."""
    wanted = {tool.release_recipe_id for tool in tools}
    rows = ReleaseRecipe.objects.select_related("material", "sealer")
    return rows.in_bulk([pk for pk in wanted if pk is not None])


def events_of(tools: Iterable[Tool]) -> dict[int, list[ToolEvent]]:
    """Return what bears on the upkeep of some tools, by tool, in order of time; two queries."""
    found: dict[int, list[ToolEvent]] = defaultdict(list)
    asked = ToolEvent.objects.filter(tool__in=[tool.pk for tool in tools], kind__in=KINDS)
    measured = Prefetch("findings", ToolFinding.objects.select_related("checkpoint"))
    rows = asked.standing().order_by("at", "id").prefetch_related(measured)
    for event in rows:
        found[event.tool_id].append(event)
    return found


def upkeep_of(
    tool: Tool,
    events: Sequence[ToolEvent],
    recipe: ReleaseRecipe | None,
    site: Site,
    today: date,
) -> Upkeep:
    """Return what a tool wants, from its events in order of time."""
    pace = pace_now(events, site, today)
    coating = _coating(tool, events, recipe, pace, site, today)
    left, inspection = _inspection(tool, events, pace, site, today)
    works = [coating.work if coating else None, inspection, _too_much(tool, events, site)]
    works += [_off(tool, one, site) for one in drifts(events, pace, today)]
    return Upkeep(coating, left, tuple(work for work in works if work is not None))


def pace_now(events: Sequence[ToolEvent], site: Site, today: date) -> float:
    """Return the shots a day since the first run of the last `PACE_DAYS` days."""
    since = today - timedelta(days=PACE_DAYS)
    lately = [
        (clock.local(event.at, site).date(), event.shots)
        for event in events
        if event.kind in RUN_KINDS
    ]
    lately = [(day, shots) for day, shots in lately if day > since]
    if not lately:
        return 0.0
    days = (today - min(day for day, _ in lately)).days + 1
    return max(0, sum(shots for _, shots in lately)) / days


def upkeep(tools: QuerySet[Tool], site_id: int, today: date) -> list[Work]:
    """Return all that the tools of a site in service want; four queries."""
    rows = tools.filter(site=site_id, status=ToolStatus.IN_SERVICE).order_by("code", "pk")
    rows = rows.select_related(
        "site", "location", "release_recipe__material", "release_recipe__sealer"
    )
    events = events_of(rows) if rows else {}
    found: list[Work] = []
    for tool in rows:
        own = events.get(tool.pk, [])
        found += upkeep_of(tool, own, tool.release_recipe, tool.site, today).works
    return found


def drifts_of(tool: Tool, site: Site, today: date) -> list[Drift]:
    """Return how each measured dimension of a tool drifts; three queries."""
    events = events_of([tool]).get(tool.pk, [])
    return drifts(events, pace_now(events, site, today), today)


def due_on_day(works: Iterable[Work], day: date, today: date) -> list[Work]:
    """Return what stands on the sheet of a day: due on it, or overdue where the day is today."""
    return [
        work
        for work in works
        if work.due_on is not None
        and (work.due_on == day or (day == today and work.due_on < today))
    ]


def _done(events: Sequence[ToolEvent]) -> list[Done]:
    found = []
    for event in events:
        if event.kind in RUN_KINDS:
            found.append(Done("shots", event.at, shots=event.shots))
        elif event.kind in FACE:
            coats = event.coats or _told_coats(event)
            found.append(Done(FACE[event.kind], event.at, coats=coats))  # type: ignore[arg-type]
    return found


def _told_coats(event: ToolEvent) -> int:
    """Return the coats of an entry that has them only among its facts, at least 1."""
    told = str(event.facts.get("coats", ""))
    return max(1, int(told)) if told.isascii() and told.isdigit() and len(told) < 4 else 1


def _coating(
    tool: Tool,
    events: Sequence[ToolEvent],
    recipe: ReleaseRecipe | None,
    pace: float,
    site: Site,
    today: date,
) -> Coating | None:
    rules = rules_of(tool, recipe)
    if rules is None:
        return None
    done = _done(events)
    now = face(done, rules)
    following = next_work(now, rules)
    every = None
    if rules.shots_per_coat is not None:
        every = interval(rules.shots_per_coat, cycles(done, rules))
    if following in ("seal", "season"):
        first = _bare(tool, now, following, recipe, events, site, today)
        return Coating(now, following, every, None, first, recipe)
    coated = clock.local(now.coated_at, site).date() if now.coated_at else None
    left = shots_left(
        now.shots if every else 0,
        every.shots if every else MOST_SHOTS,
        coated_on=coated,
        longest_days=rules.days_per_coat,
        today=today,
        shots_per_day=pace if every else 0.0,
    )
    since, why = _over(now, every, left, events, rules, site, today)
    due_on = clock.local(since, site).date() if since else left.due_on
    shown = left if every else None
    if due_on is None:
        return Coating(now, following, every, shown, None, recipe)
    work = Work(tool, WORK[following], why, due_on, since, _how(recipe, following))
    return Coating(now, following, every, shown, work, recipe)


def _bare(
    tool: Tool,
    now: Face,
    following: Next,
    recipe: ReleaseRecipe | None,
    events: Sequence[ToolEvent],
    site: Site,
    today: date,
) -> Work:
    assert recipe is not None
    cast = [event.at for event in events if event.kind == ToolEventKind.CAST]
    since = now.bare_at or max(cast, default=None) or (events[0].at if events else None)
    state = "The coats were taken off" if now.bare_at else "No whole build-up is on record"
    on_it = f"; {now.coats} of {recipe.coats} coats are on" if now.coats else ""
    due_on = clock.local(since, site).date() if since else today
    words = f"{state}{on_it}."
    return Work(tool, WORK[following], words, due_on, since, _how(recipe, following))


def _over(
    now: Face,
    every: Interval | None,
    left: CoatsLeft,
    events: Sequence[ToolEvent],
    rules: Rules,
    site: Site,
    today: date,
) -> tuple[datetime | None, str]:
    """Return since when a re-coat is due, if it is, and the reason it is or comes due."""
    reasons: list[tuple[datetime, str]] = []
    if now.stuck_at is not None:
        return now.stuck_at, f"A part stuck after {now.shots} shots on these coats."
    if every is not None and now.shots >= every.shots:
        reached = _reached(events, now.coated_at, every.shots)
        words = f"{now.shots} shots since the last; {RECOAT} is due after {every.shots}."
        words += f" {every.words}" if every.stuck else ""
        reasons.append((reached or clock.day_start(today, site), words))
    if now.coated_at is not None and rules.days_per_coat is not None:
        last = clock.local(now.coated_at, site).date() + timedelta(days=rules.days_per_coat)
        if last <= today:
            words = f"Coated on {now.coated_at:%d %b %Y}; coats are renewed after "
            words += f"{rules.days_per_coat} days."
            reasons.append((clock.day_start(last, site), words))
    if reasons:
        since, words = min(reasons)
        return since, words
    if left.binding == "age":
        return None, f"Coats are renewed after {rules.days_per_coat} days."
    return None, f"{left.shots_left} shots left. {every.words if every else ''}".rstrip()


def _reached(events: Sequence[ToolEvent], after: datetime | None, limit: int) -> datetime | None:
    """Return the moment at which the shots since another reached a limit."""
    rows = [e for e in events if e.kind in RUN_KINDS and (after is None or e.at > after)]
    shots, reached = 0, None
    for run in runs(rows):
        before, shots = shots, shots + run.shots
        if before < limit <= shots:
            reached = run.at
    return reached


def _how(recipe: ReleaseRecipe | None, following: Next) -> str:
    """Say the steps of the work by the recipe, in one sentence each."""
    if recipe is None:
        return ""
    count = recipe.recoat_coats if following == "re-coat" else recipe.coats
    steps = []
    if following == "strip":
        steps.append("Take the old coats off down to the face")
    if recipe.sealer is not None and following in ("strip", "seal"):
        dry = f", dry {recipe.sealer_dry_min} min" if recipe.sealer_dry_min else ""
        steps.append(f"Seal with {recipe.sealer.name}{dry}")
    buff = f", haze {recipe.haze_min} min, buff" if recipe.haze_min is not None else ""
    coats = "1 coat" if count == 1 else f"{count} coats"
    steps.append(f"{coats} of {recipe.material.name}{buff}, dry {recipe.dry_min} min between")
    if count == 1:
        steps[-1] = f"{coats} of {recipe.material.name}{buff}"
    steps.append(f"Dry {recipe.last_dry_min} min before the first shot")
    return ". ".join(steps) + "."


def _inspection(
    tool: Tool, events: Sequence[ToolEvent], pace: float, site: Site, today: date
) -> tuple[int | None, Work | None]:
    """Return the shots to the next inspection, and the inspection: of shots and days the first."""
    last = max((e.at for e in events if e.kind == ToolEventKind.INSPECTION), default=None)
    left, by_shots = _by_shots(tool, events, last, pace, site, today)
    both = [work for work in (by_shots, _by_date(tool, events, last, site, today)) if work]
    return left, min(both, key=lambda work: work.due_on or date.max, default=None)


def _by_shots(
    tool: Tool,
    events: Sequence[ToolEvent],
    last: datetime | None,
    pace: float,
    site: Site,
    today: date,
) -> tuple[int | None, Work | None]:
    limit = tool.shots_per_inspection
    if not limit:
        return None, None
    done = sum(e.shots for e in events if e.kind in RUN_KINDS and (last is None or e.at > last))
    left = shots_left(max(done, 0), limit, today=today, shots_per_day=pace)
    words = f"{done} shots since the last; {INSPECT} is due after {limit}."
    since = _reached(events, last, limit) if left.due else None
    due_on = clock.local(since, site).date() if since else left.due_on
    if due_on is None:
        return limit - done, None
    return limit - done, Work(tool, INSPECT, words, due_on, since)


def _by_date(
    tool: Tool, events: Sequence[ToolEvent], last: datetime | None, site: Site, today: date
) -> Work | None:
    """Return the inspection that days ask for; a tool without any record wants one now."""
    days = tool.days_per_inspection
    if not days:
        return None
    cast = max((e.at for e in events if e.kind == ToolEventKind.CAST), default=None)
    start = last or cast or (events[0].at if events else None)
    if start is None:
        words = f"No inspection is on record; {INSPECT} is due every {days} days."
        return Work(tool, INSPECT, words, today, clock.day_start(today, site))
    begun = clock.local(start, site).date()
    due_on = begun + timedelta(days=days)
    told = "Last inspected" if last else "Not inspected yet; in the record since"
    words = f"{told} {begun:%d %b %Y}; {INSPECT} is due every {days} days."
    since = clock.day_start(due_on, site) if due_on <= today else None
    return Work(tool, INSPECT, words, due_on, since)


def _off(tool: Tool, one: Drift, site: Site) -> Work | None:
    """Return what a dimension asks for: a repair outside tolerance, a measurement before that."""
    if one.outside:
        measured = one.last.event.at
        return Work(tool, REPAIR, one.words, clock.local(measured, site).date(), measured)
    if one.leaves_on is None:
        return None
    since = clock.day_start(one.leaves_on, site) if one.leaves_on <= one.today else None
    return Work(tool, MEASURE, one.words, one.leaves_on, since)


def _too_much(tool: Tool, events: Sequence[ToolEvent], site: Site) -> Work | None:
    """Return the inspection that the first run above a limit asks for, until one follows it."""
    found = None
    for event in events:
        if event.kind == ToolEventKind.INSPECTION:
            found = None
        elif found is None and OVER in event.facts:
            found = event
    if found is None:
        return None
    words = f"A run was too much: {found.facts[OVER]}."
    return Work(tool, INSPECT, words, clock.local(found.at, site).date(), found.at)
