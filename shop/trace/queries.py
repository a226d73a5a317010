"""From a lot to everything it went into, from a tool back to every lot; a few queries each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import Max, Q, QuerySet

from shared.access.models import Site, User
from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Container, Lot
from shop.sums import exact_sum
from shop.tools.models import Tool, ToolEvent, ToolEventKind
from shop.trace.providers import Use, counterparts_of, uses

ZERO = Decimal(0)
NOT_USED = ("supplier:", "waste", "sample", "count-difference", "container:")
"""Counterparts that are no casting: where goods came from and went other than into tools."""


@dataclass(frozen=True)
class Taken:
    """What of one lot went into one use; `quantity` is net of what was undone."""

    lot: Lot
    counterpart: str
    quantity: Decimal
    at: datetime
    people: tuple[str, ...]
    use: Use | None


@dataclass(frozen=True)
class LotTrace:
    """Everything one lot went into, the tools that hold it, and what is left of it."""

    lot: Lot
    taken: tuple[Taken, ...]
    tools: tuple[Tool, ...]
    left: tuple[Container, ...]

    @property
    def quantity_left(self) -> Decimal:
        """Return what all its containers still hold."""
        return sum((row.balance for row in self.left), ZERO)


@dataclass(frozen=True)
class ToolTrace:
    """Every lot in a tool, by casting."""

    tool: Tool
    castings: tuple[str, ...]
    taken: tuple[Taken, ...]


def _issued() -> QuerySet[Movement]:
    """Return issues and what undid issues: together the net that went somewhere."""
    undone = Q(reverses__kind=MovementKind.ISSUE)
    return Movement.objects.filter(Q(kind=MovementKind.ISSUE) | undone)


def _net(moves: QuerySet[Movement]) -> list[Taken]:
    for beginning in NOT_USED:
        moves = moves.exclude(counterpart__startswith=beginning)
    sums = moves.order_by().values("container__lot", "counterpart")
    summed = sums.annotate(net=exact_sum("quantity"), last=Max("happened_at"))
    rows = [row for row in summed if row["net"]]
    lots = Lot.objects.select_related("material", "supplier", "site").in_bulk(
        {row["container__lot"] for row in rows}
    )
    known = uses(row["counterpart"] for row in rows)
    people = _people(moves)
    return [
        Taken(
            lots[row["container__lot"]],
            row["counterpart"],
            -row["net"],
            row["last"],
            people.get(row["counterpart"], ()),
            known.get(row["counterpart"]),
        )
        for row in sorted(rows, key=lambda r: (r["last"], r["counterpart"]))
    ]


def _people(moves: QuerySet[Movement]) -> dict[str, tuple[str, ...]]:
    pairs = set(moves.order_by().filter(by__isnull=False).values_list("counterpart", "by"))
    names = User.objects.in_bulk({by for _, by in pairs})
    found: dict[str, set[str]] = {}
    for counterpart, by in pairs:
        found.setdefault(counterpart, set()).add(str(names[by]))
    return {counterpart: tuple(sorted(people)) for counterpart, people in found.items()}


def lot_trace(lot: Lot) -> LotTrace:
    """Return where a lot went and what is left."""
    taken = _net(_issued().filter(container__lot=lot))
    tool_ids = {part.tool_id for row in taken if row.use for part in row.use.parts}
    tools = Tool.objects.filter(pk__in=[pk for pk in tool_ids if pk], site=lot.site)
    left = lot.containers.select_related("location").filter(balance__gt=0)
    return LotTrace(lot, tuple(taken), tuple(tools), tuple(left))


def lots_named(site: Site, code: str) -> QuerySet[Lot]:
    """Return the lots a label names, by their own code or by that of one of their containers."""
    own = Q(code=code) | Q(containers__code=code)
    return Lot.objects.filter(own, site=site).select_related("material", "supplier").distinct()


def castings_of(tool: Tool) -> tuple[str, ...]:
    """Return all castings of a tool, those that were rejected included."""
    halves = set(tool.halves.exclude(casting="").values_list("casting", flat=True))
    events = ToolEvent.objects.filter(tool=tool, kind=ToolEventKind.CAST)
    told = {event.facts.get("casting", "") for event in events} - {""}
    return tuple(sorted(halves | told))


def tool_trace(tool: Tool) -> ToolTrace:
    """Return every lot that went into a tool."""
    castings = castings_of(tool)
    went_in = counterparts_of(castings)
    taken = _net(_issued().filter(counterpart__in=went_in, site=tool.site)) if went_in else []
    return ToolTrace(tool, castings, tuple(taken))


def touched_lots(lot: Lot) -> list[Lot]:
    """Return the lot and every lot that went into the same castings."""
    taken = _net(_issued().filter(container__lot=lot))
    castings = {part.casting for row in taken if row.use for part in row.use.parts}
    together = counterparts_of(castings) | {row.counterpart for row in taken}
    rows = _issued().filter(site=lot.site, counterpart__in=together)
    ids = set(rows.values_list("container__lot", flat=True)) | {lot.pk}
    return list(Lot.objects.filter(pk__in=ids).select_related("material").order_by("pk"))


def total(taken: Iterable[Taken]) -> Decimal:
    """Return the sum of quantities of one material."""
    return sum((row.quantity for row in taken), ZERO)
