"""From a lot to everything it went into, from a tool back to every lot; a few queries each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Max, Q, QuerySet
from django.db.models.functions import Coalesce

from shared.access.models import Site, User
from shop.ledger.genealogy import with_ancestors, with_descendants
from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Container, Lot
from shop.sums import exact_sum
from shop.tools.models import Tool, ToolEvent, ToolEventKind
from shop.tools.tracing import TOOL
from shop.trace.providers import Use, counterparts_of, uses
from shop.trace.providers import castings_of as castings_known
from shop.waste.queries import Waste, of_trace

ZERO = Decimal(0)
NOT_OUT = (MovementKind.RECEIPT, MovementKind.TRANSFER)
"""Kinds that take nothing out of the shop: what came in, and what only changed its container."""


@dataclass(frozen=True)
class Taken:
    """What of one lot went one way; `quantity` is net of what was undone."""

    lot: Lot
    kind: MovementKind
    counterpart: str
    quantity: Decimal
    at: datetime
    people: tuple[str, ...]
    use: Use | None


@dataclass(frozen=True)
class LotTrace:
    """
    Everything one lot went into, the tools that hold it, and what is left of it.

    What was received is what was used, what went another way, and what is left.
    """

    lot: Lot
    received: Decimal
    taken: tuple[Taken, ...]
    """Issues: to castings, to tools, to uses somebody named in words."""
    lost: tuple[Taken, ...]
    """Samples, waste, returns, differences at counts (above zero: less was found)."""
    tools: tuple[Tool, ...]
    left: tuple[Container, ...]
    """Containers that hold something of it, those of mixed lots as well."""
    mixed_into: tuple[Lot, ...] = ()
    mixed_from: tuple[Lot, ...] = ()
    waste: tuple[Waste, ...] = ()
    """Residues, wipes and the like of it, and of what it went into."""

    @property
    def quantity_left(self) -> Decimal:
        """Return what its own containers still hold."""
        return sum((row.balance for row in self.left if row.lot_id == self.lot.pk), ZERO)


@dataclass(frozen=True)
class ToolTrace:
    """Every lot in a tool, by casting."""

    tool: Tool
    castings: tuple[str, ...]
    taken: tuple[Taken, ...]
    lots: tuple[Lot, ...]
    """Every lot in it: those it was cast from, and those that were mixed into them."""
    waste: tuple[Waste, ...] = ()
    """Residues, wipes and the like of what went into it."""


def _out() -> Any:
    """Return what left stock and what undid it, with the kind of the movement it is about."""
    about = Movement.objects.annotate(about=Coalesce("reverses__kind", "kind"))
    return about.exclude(about__in=NOT_OUT)


def _net(moves: Any) -> list[Taken]:
    sums = moves.order_by().values("container__lot", "about", "counterpart")
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
            MovementKind(row["about"]),
            row["counterpart"],
            -row["net"],
            row["last"],
            people.get((row["container__lot"], row["about"], row["counterpart"]), ()),
            known.get(row["counterpart"]),
        )
        for row in sorted(rows, key=lambda r: (r["last"], r["counterpart"]))
    ]


def _people(moves: Any) -> dict[tuple[int, str, str], tuple[str, ...]]:
    told = moves.order_by().filter(by__isnull=False)
    rows = set(told.values_list("container__lot", "about", "counterpart", "by"))
    names = User.objects.in_bulk({row[-1] for row in rows})
    found: dict[tuple[int, str, str], set[str]] = {}
    for lot, about, counterpart, by in rows:
        found.setdefault((lot, about, counterpart), set()).add(str(names[by]))
    return {key: tuple(sorted(people)) for key, people in found.items()}


def lot_trace(lot: Lot) -> LotTrace:
    """
    Return where a lot went, itself and in mixed lots that hold some of it, and what is left.

    What went on to another site is named by its lot there, whose own trace goes on.
    """
    family = with_descendants([lot.pk])
    out = _net(_out().filter(container__lot__in=family, site=lot.site))
    taken = tuple(row for row in out if row.kind == MovementKind.ISSUE)
    tool_ids = {part.tool_id for row in out if row.use for part in row.use.parts}
    tools = Tool.objects.filter(pk__in=[pk for pk in tool_ids if pk], site=lot.site)
    left = Container.objects.filter(lot__in=family, lot__site=lot.site, balance__gt=0)
    parents = with_ancestors([lot.pk]) - {lot.pk}
    came = Q(kind=MovementKind.RECEIPT) | Q(reverses__kind=MovementKind.RECEIPT)
    received = Movement.objects.filter(came, container__lot=lot)
    return LotTrace(
        lot,
        received.aggregate(total=exact_sum("quantity"))["total"],
        taken,
        tuple(row for row in out if row.kind != MovementKind.ISSUE),
        tuple(tools),
        tuple(left.select_related("location", "lot").order_by("lot", "code")),
        tuple(_named(family - {lot.pk})),
        tuple(_named(parents)),
        tuple(of_trace(lot.site, family, {row.counterpart for row in taken})),
    )


def _named(ids: Iterable[int]) -> QuerySet[Lot]:
    rows = Lot.objects.filter(pk__in=list(ids)).select_related("material", "site")
    return rows.order_by("pk")


def lots_named(site: Site, code: str) -> QuerySet[Lot]:
    """Return the lots a label names, by their own code or by that of one of their containers."""
    own = Q(code__iexact=code) | Q(containers__code__iexact=code)
    return Lot.objects.filter(own, site=site).select_related("material", "supplier").distinct()


def castings_of(tool: Tool) -> tuple[str, ...]:
    """Return all castings of a tool: demoulded, rejected, given up, and those under way."""
    halves = set(tool.halves.exclude(casting="").values_list("casting", flat=True))
    events = ToolEvent.objects.filter(tool=tool, kind=ToolEventKind.CAST)
    told = {event.facts.get("casting", "") for event in events} - {""}
    return tuple(sorted(halves | told | castings_known(tool.pk)))


def tool_trace(tool: Tool) -> ToolTrace:
    """Return every lot that went into a tool, and onto it."""
    castings = castings_of(tool)
    went_in = counterparts_of(castings) | {f"{TOOL}{tool.pk}"}
    taken = _net(_out().filter(counterpart__in=went_in, site=tool.site))
    every = with_ancestors({row.lot.pk for row in taken})
    left_over = of_trace(tool.site, (), {*went_in, *castings})
    return ToolTrace(tool, castings, tuple(taken), tuple(_named(every)), tuple(left_over))


def touched_lots(lot: Lot) -> list[Lot]:
    """
    Return the lot and every lot that went into the same castings, at whatever site.

    Mixed lots that hold some of it count as it does, and so do all parts of whatever was cast.
    """
    family = with_descendants([lot.pk])
    taken = _net(_out().filter(container__lot__in=family, about=MovementKind.ISSUE))
    by_site: dict[int, list[Taken]] = defaultdict(list)
    for row in taken:
        by_site[row.lot.site_id].append(row)
    met: set[int] = set()
    for site_id, rows in by_site.items():
        met |= _met(site_id, rows)
    return list(_named(with_ancestors(met) | family))


def _met(site_id: int, taken: Iterable[Taken]) -> set[int]:
    """Return the lots of a site that went where these went; words mean nothing elsewhere."""
    rows = list(taken)
    castings = {part.casting for row in rows if row.use for part in row.use.parts}
    together = counterparts_of(castings) | {row.counterpart for row in rows}
    out = _out().filter(site=site_id, about=MovementKind.ISSUE, counterpart__in=together)
    # Net: what was undone met nothing.
    sums = out.order_by().values("container__lot", "counterpart")
    net = sums.annotate(net=exact_sum("quantity"))
    return {row["container__lot"] for row in net if row["net"]}


def total(taken: Iterable[Taken]) -> Decimal:
    """Return the sum of quantities of one material."""
    return sum((row.quantity for row in taken), ZERO)
