"""Release agent that tools in use will take: their re-coats over the days ahead."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from shared.access.models import Site
from shop.ledger.models import Movement
from shop.release_agents.models import ReleaseRecipe
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolStatus
from shop.tools.upkeep import Coating, events_of, pace_now, upkeep_of

FORECAST_DAYS = 182
"""Days ahead for which re-coats are foreseen: later ones rest on too old a pace; chosen here."""
MOST_COATINGS = 400
"""Of one tool; more than two a day is a slip in its limits."""


@dataclass(frozen=True)
class CoatNeed:
    """Agent that one coating of one tool will take, in the agent's unit."""

    tool: Tool
    material_id: int
    day: date
    quantity: float
    work: str


@dataclass(frozen=True)
class Forecast:
    """What tools will take, and those of which nobody can say how much."""

    needs: tuple[CoatNeed, ...]
    unknown: tuple[Tool, ...]
    """Coated in the days ahead, but neither the face's area nor an earlier use is known."""


def forecast(site: Site, today: date, days: int = FORECAST_DAYS) -> Forecast:
    """
    Return the release agent that the tools of a site will take at their present pace.

    A coat takes what earlier coats of that tool took out of their cans, on average; without such
    a record the area of the face times what the agent needs on 1 m2. Five queries.
    """
    tools = Tool.objects.filter(site=site, status=ToolStatus.IN_SERVICE)
    rows = list(
        tools.exclude(release_recipe=None)
        .select_related("release_recipe__material", "release_recipe__sealer")
        .order_by("code", "pk")
    )
    events, used = events_of(rows) if rows else {}, _used_each_coat(rows)
    needs: list[CoatNeed] = []
    unknown: list[Tool] = []
    for tool in rows:
        own, recipe = events.get(tool.pk, []), tool.release_recipe
        assert recipe is not None
        coating = upkeep_of(tool, own, recipe, site, today).coating
        pace = pace_now(own, site, today)
        steps = list(_coatings(coating, recipe, pace, today, days)) if coating else []
        each = used.get(tool.pk, _by_area(tool, recipe))
        if steps and each is None:
            unknown.append(tool)
            continue
        needs += [n for step in steps for n in _needs(tool, recipe, step, float(each or 0))]
    return Forecast(tuple(needs), tuple(unknown))


Step = tuple[date, str, int, bool]
"""Day, work, coats, and whether the sealer goes on first."""


def _coatings(
    coating: Coating, recipe: ReleaseRecipe, pace: float, today: date, days: int
) -> Iterator[Step]:
    """Yield the coatings from today to the end of the horizon, each at the present pace."""
    if coating.work is None or coating.work.due_on is None:
        return
    gap = _gap_days(coating, recipe, pace)
    last, day = today + timedelta(days=days), max(today, coating.work.due_on)
    following, recoats = coating.next, coating.face.recoats
    for _ in range(MOST_COATINGS):
        if day > last:
            return
        bare = following != "re-coat"
        sealed = recipe.sealer_id is not None and following in ("seal", "strip")
        yield day, following, recipe.coats if bare else recipe.recoat_coats, sealed
        recoats = 0 if bare else recoats + 1
        strips = recipe.strip_after is not None and recoats >= recipe.strip_after
        following = "strip" if strips else "re-coat"
        if gap is None:
            return
        day += timedelta(days=gap)


def _gap_days(coating: Coating, recipe: ReleaseRecipe, pace: float) -> int | None:
    """Return the days from one coating to the next, by shots or by age, the fewer; at least 1."""
    gaps = [recipe.days_per_coat] if recipe.days_per_coat else []
    if coating.interval is not None and pace > 0:
        gaps.append(int(coating.interval.shots / pace))
    return max(1, min(gaps)) if gaps else None


def _needs(tool: Tool, recipe: ReleaseRecipe, step: Step, each: float) -> Iterator[CoatNeed]:
    day, work, coats, sealed = step
    yield CoatNeed(tool, recipe.material_id, day, each * coats, work)
    sealer = recipe.sealer
    if sealed and sealer is not None and sealer.use_per_m2 and tool.face_m2:
        quantity = float(sealer.use_per_m2 * tool.face_m2)
        yield CoatNeed(tool, sealer.pk, day, quantity, work)


def _by_area(tool: Tool, recipe: ReleaseRecipe) -> Decimal | None:
    use = recipe.material.use_per_m2
    return None if use is None or tool.face_m2 is None else use * tool.face_m2


def _used_each_coat(tools: list[Tool]) -> dict[int, Decimal]:
    """Return what one coat of each tool took on average of its recipe's agent; two queries."""
    agents = {tool.pk: tool.release_recipe.material_id for tool in tools if tool.release_recipe}
    coats = ToolEvent.objects.filter(
        tool__in=list(agents), kind=ToolEventKind.COAT, container__isnull=False, coats__gte=1
    ).standing()
    events = {f"tool-event:{event.pk}": event for event in coats}
    moves = Movement.objects.filter(key__in=list(events), reversed_by=None)
    total: dict[int, Decimal] = defaultdict(Decimal)
    count: dict[int, int] = defaultdict(int)
    for key, quantity in moves.values_list("key", "quantity"):
        event = events[key]
        if event.agent_id == agents[event.tool_id]:
            total[event.tool_id] -= quantity
            count[event.tool_id] += event.coats or 1
    return {pk: total[pk] / count[pk] for pk in total}
