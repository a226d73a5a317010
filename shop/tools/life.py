"""How long tools last: what their family's history says, shots, coats, inspections, pace."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from statistics import median
from typing import Any

from django.db.models import Sum

from shared import clock
from shared.access.models import Site
from shop.core.life_posterior import (
    COVERED,
    AgainstStated,
    Posterior,
    ShotsLeft,
    Spread,
    against_stated,
    posterior,
)
from shop.core.recoat import CoatsLeft
from shop.core.tool_life import Life, SurvivalStep, band, survival_steps
from shop.tools.models import (
    Tool,
    ToolEvent,
    ToolEventKind,
    ToolFamily,
    ToolKind,
    ToolStatus,
)
from shop.tools.replacing import TOLD_AHEAD, Lead, leads, settled
from shop.tools.upkeep import (
    PACE_DAYS,
    Coating,
    Upkeep,
    Work,
    events_of,
    recipes_of,
    upkeep_of,
)

FARTHEST_DAYS = 3650
"""Days ahead beyond which no date is given."""
NOT_WORN = "no"
NOTHING_STATED = "State a life in shots for the family or the tool: no tool has failed yet."


@dataclass(frozen=True)
class Known:
    """What is known of the life of one family, for one stated life."""

    name: str
    history: Sequence[Life]
    stated: float | None

    @cached_property
    def posterior(self) -> Posterior | None:
        """Return the life, or nothing where neither a stated life nor a failure is known."""
        if self.stated is None and not any(x.failed for x in self.history):
            return None
        return posterior(self.history, self.stated)

    @cached_property
    def against(self) -> AgainstStated | None:
        """Return the failures seen beside those the stated life would have brought."""
        return against_stated(self.history, self.stated) if self.stated else None

    @property
    def contradiction(self) -> str:
        """Say where failures and stated life contradict each other; empty where they agree."""
        return self.against.words if self.against else ""


@dataclass(frozen=True)
class Ahead:
    """What one tool is likely to do, and by when its replacement must be cast."""

    basis: str
    left: ShotsLeft
    chance_of_promised: Spread | None
    last_day: date | None
    cast_by: date | None
    lead: Lead


@dataclass(frozen=True)
class ToolState:
    """Shots of a tool and what they mean for it."""

    tool: Tool
    shots: int
    upkeep: Upkeep
    known: Known
    ahead: Ahead | None

    @property
    def coating(self) -> Coating | None:
        """Return the release agent on the tool, where a recipe or limit says how it is kept."""
        return self.upkeep.coating

    @property
    def coats(self) -> CoatsLeft | None:
        """Return the shots left on the release coats, where shots limit them."""
        return self.upkeep.coating.left if self.upkeep.coating else None

    @property
    def inspection_left(self) -> int | None:
        """Return the shots to the next inspection, where shots ask for one."""
        return self.upkeep.inspection_left

    @property
    def works(self) -> tuple[Work, ...]:
        """Return what is to be done to the tool, now or later; nothing once it is retired."""
        return () if self.tool.status == ToolStatus.RETIRED else self.upkeep.works

    @property
    def why_nothing(self) -> str:
        """Say why nothing is told of the tool's life."""
        retired = self.tool.status == ToolStatus.RETIRED
        return "The tool is retired." if retired else NOTHING_STATED

    @property
    def wants(self) -> tuple[str, ...]:
        """Return in words what the tool wants now."""
        due = [work.work for work in self.works if work.since is not None]
        return tuple(dict.fromkeys(work.removeprefix("a ").removeprefix("an ") for work in due))


@dataclass(frozen=True)
class _Row:
    tool: Tool
    shots: int
    worn: bool

    @property
    def life(self) -> Life:
        return Life(self.shots, self.worn)


class Lives:
    """The lives of a site's families, each worked out once."""

    def __init__(self, site: Site) -> None:
        self._known: dict[tuple[str, float | None], Known] = {}
        self._rows: dict[str, list[_Row]] = defaultdict(list)
        shots = _shots_by_tool(site)
        worn = _worn(site)
        for tool in Tool.objects.filter(site=site).only("kind", "expected_shots", "family"):
            self._rows[_group(tool)].append(_Row(tool, shots.get(tool.pk, 0), tool.pk in worn))

    def of(self, tool: Tool) -> Known:
        """Return what is known for a tool: from its family, or from its kind where it has none."""
        if tool.family is not None:
            return self.of_family(tool.family)
        group = _group(tool)
        name = f"{ToolKind(tool.kind).label}, no family named"
        return self._of(group, name, tool.expected_shots or self._usual(group))

    def of_family(self, family: ToolFamily) -> Known:
        """Return what is known for a family."""
        group = f"family:{family.pk}"
        return self._of(group, family.name, family.stated_shots or self._usual(group))

    def _usual(self, group: str) -> float | None:
        stated = [r.tool.expected_shots for r in self._rows[group] if r.tool.expected_shots]
        return float(median(stated)) if stated else None

    def _of(self, group: str, name: str, stated: float | None) -> Known:
        key = (group, stated)
        if key not in self._known:
            history = [row.life for row in self._rows[group] if row.shots > 0]
            self._known[key] = Known(name, history, stated)
        return self._known[key]


def _group(tool: Tool) -> str:
    return f"family:{tool.family_id}" if tool.family_id else tool.kind


def _shots_by_tool(site: Site) -> Mapping[int, int]:
    rows = ToolEvent.objects.filter(tool__site=site).order_by()
    return dict(rows.values_list("tool").annotate(total=Sum("shots")))


def _worn(site: Site) -> set[int]:
    """Return the tools that wore out; one retired for another reason was sound to its end."""
    ends = ToolEvent.objects.filter(tool__site=site, kind=ToolEventKind.RETIREMENT).standing()
    return {event.tool_id for event in ends if event.facts.get("worn", "yes") != NOT_WORN}


def states(tools: Iterable[Tool], site: Site, today: date) -> list[ToolState]:
    """Return the state of each tool; the same few queries for one tool or many."""
    rows = list(tools)
    events, recipes = events_of(rows), recipes_of(rows)
    lives, lead = Lives(site), leads(site.pk, [row.pk for row in rows])
    found = []
    for row in rows:
        own = events[row.pk]
        kept = upkeep_of(row, own, recipes.get(row.release_recipe_id or 0), site, today)
        found.append(_state(row, own, kept, lives, lead[row.pk], site, today))
    return found


def _state(
    tool: Tool,
    events: list[ToolEvent],
    kept: Upkeep,
    lives: Lives,
    lead: Lead,
    site: Site,
    today: date,
) -> ToolState:
    total = sum(event.shots for event in events)
    since = today - timedelta(days=PACE_DAYS)
    lately = sum(e.shots for e in events if clock.local(e.at, site).date() > since)
    known = lives.of(tool)
    ahead = _ahead(tool, known.posterior, total, lately / PACE_DAYS, lead, today)
    return ToolState(tool, total, kept, known, ahead)


def _ahead(
    tool: Tool, life: Posterior | None, done: int, pace: float, lead: Lead, today: date
) -> Ahead | None:
    if life is None or tool.status == ToolStatus.RETIRED:
        return None
    left = life.shots_left(done)
    promised = life.chance_of_more(done, tool.promised_shots) if tool.promised_shots else None
    last = cast_by = None
    if pace > 0 and left.kept / pace <= FARTHEST_DAYS:
        last = today + timedelta(days=int(left.kept / pace))
        cast_by = last - timedelta(days=lead.days)
    return Ahead(life.basis, left, promised, last, cast_by, lead)


def family_figures(known: Known) -> dict[str, Any]:
    """Return the figures of a family as plain data, in the form the API answers."""
    life = known.posterior
    failures = sum(x.failed for x in known.history)
    return {
        "family": known.name,
        "basis": life.basis if life else NOTHING_STATED,
        "contradiction": known.contradiction,
        "stated_shots": known.stated,
        "failures": failures,
        "sound": len(known.history) - failures,
        "median_shots": life and life.median_life(),
        "scale_shots": life and life.scale(),
        "shape": life and life.shape(),
        "survival": [_step(step) for step in survival_steps(known.history)],
    }


def _step(step: SurvivalStep) -> dict[str, float]:
    low, high = band(step, COVERED)
    return {
        "shots": step.shots,
        "at_risk": step.at_risk,
        "failures": step.failures,
        "low": low,
        "middle": step.survival,
        "high": high,
    }


def tool_figures(state: ToolState) -> dict[str, Any]:
    """Return the figures of a tool as plain data, in the form the API answers."""
    ahead = state.ahead
    return {
        "family": state.known.name,
        "basis": ahead.basis if ahead else state.why_nothing,
        "contradiction": state.known.contradiction,
        "shots": state.shots,
        "promised_shots": state.tool.promised_shots,
        "chance_of_promised": ahead and ahead.chance_of_promised,
        "shots_left": ahead and ahead.left,
        "lasts_to": ahead and ahead.last_day,
        "cast_replacement_by": ahead and ahead.cast_by,
        "lead": ahead.lead.words if ahead else "",
    }


def wanting_replacement(
    site: Site, today: date, tool_ids: Collection[int] | None = None
) -> list[ToolState]:
    """Return tools in service whose replacement must soon be cast and is not settled, by day."""
    tools = Tool.objects.filter(site=site, status=ToolStatus.IN_SERVICE).select_related("family")
    tools = tools.exclude(pk__in=settled(site.pk, today)).prefetch_related("halves")
    if tool_ids is not None:
        tools = tools.filter(pk__in=tool_ids)
    due = [
        (state.ahead.cast_by, state.tool.code, state)
        for state in states(tools, site, today)
        if state.ahead and state.ahead.cast_by and state.ahead.cast_by <= today + TOLD_AHEAD
    ]
    return [state for _, _, state in sorted(due, key=lambda row: row[:2])]
