"""How long a replacement takes from the orders that went through the plan; what is proposed."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from statistics import median

from django.db.models import Max, Min, QuerySet

from planning.pours.models import OrderStatus, Pour, PourStatus, ToolOrder
from planning.replacements.models import ReplacementDecision
from shared import clock
from shared.access.models import Site
from shop import stores

ORDERS_LOOKED_AT = 30
"""Latest orders of a site from which the wait until work begins is taken; chosen here."""
DECLINED_FOR = timedelta(days=28)
"""So long a declined replacement is not proposed again; chosen here."""
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Proposal:
    """A replacement that should be ordered, with the order it would copy and what that cost."""

    need: stores.ReplacementNeed
    order: ToolOrder | None
    mass_kg: Decimal
    cost: dict[str, Decimal]


@dataclass(frozen=True)
class _Passage:
    """How an order went, or is planned to go, through the shop."""

    order: ToolOrder
    waits: timedelta
    takes: timedelta


class PlannedCaster:
    """Tells the shop how long replacements take and which are settled."""

    def leads(self, site_id: int, tool_ids: Collection[int]) -> dict[int, stores.ReplacementLead]:
        """
        Return the days a replacement of each tool takes, whole days rounded up.

        They are the median wait of the latest orders until their first step, and the time from
        first to last step of the tool's own latest order, as planned or done.
        """
        latest = _passages(_orders(site_id).order_by("-created_at", "-pk")[:ORDERS_LOOKED_AT])
        if not latest:
            return {}
        waits = _middle(passage.waits for passage in latest)
        usual = _middle(passage.takes for passage in latest)
        mine: dict[int, _Passage] = {}
        for passage in _passages(_orders(site_id).filter(tool__in=tool_ids).order_by("pk")):
            mine[passage.order.tool_id] = passage
        return {pk: _lead(waits, usual, len(latest), mine.get(pk)) for pk in tool_ids}

    def settled(self, site_id: int, today: date) -> set[int]:
        """Return tools with an open order for their replacement, or lately declined."""
        rows = ReplacementDecision.objects.filter(tool__site=site_id).select_related("order")
        since = clock.day_start(today - DECLINED_FOR, Site.objects.get(pk=site_id))
        return {
            row.tool_id
            for row in rows.filter(accepted=True).exclude(order__status=OrderStatus.CANCELLED)
        } | set(rows.filter(accepted=False, decided_at__gte=since).values_list("tool", flat=True))


def _orders(site_id: int) -> QuerySet[ToolOrder]:
    return (
        ToolOrder.objects.filter(site=site_id)
        .exclude(status=OrderStatus.CANCELLED)
        .annotate(
            begins=Min("pours__steps__planned_start"),
            first_done=Min("pours__steps__done_at"),
            ends=Max("pours__steps__planned_end"),
            last_done=Max("pours__steps__done_at"),
        )
    )


def _passages(orders: Iterable[ToolOrder]) -> list[_Passage]:
    found = []
    for order in orders:
        begins = _first(order.begins, order.first_done)  # type: ignore[attr-defined]
        ends = max(filter(None, (order.ends, order.last_done)), default=None)  # type: ignore[attr-defined]
        if begins is not None and ends is not None and ends > begins:
            waits = max(begins - order.created_at, timedelta(0))
            found.append(_Passage(order, waits, ends - begins))
    return found


def _first(*moments: datetime | None) -> datetime | None:
    return min((moment for moment in moments if moment is not None), default=None)


def _lead(
    waits: timedelta, usual: timedelta, orders: int, own: _Passage | None
) -> stores.ReplacementLead:
    takes = own.takes if own else usual
    wait_days, cast_days = _days(waits), max(1, _days(takes))
    whose = f"as order {own.order.number}" if own else "as orders here usually do"
    words = (
        f"{wait_days + cast_days} days: {wait_days} until work on a new order begins (median of "
        f"{orders}), {cast_days} from first to last step, {whose}"
    )
    return stores.ReplacementLead(wait_days + cast_days, words)


def _middle(spans: Iterable[timedelta]) -> timedelta:
    return timedelta(seconds=median(span.total_seconds() for span in spans))


def _days(span: timedelta) -> int:
    return math.ceil(span / DAY)


def proposals(site: Site) -> list[Proposal]:
    """Return the replacements of a site that should be ordered soon, the first first."""
    needs = stores.replacements_wanted(site.pk, clock.today(site))
    orders = {
        order.tool_id: order
        for order in ToolOrder.objects.filter(tool__in=[need.tool_id for need in needs])
        .exclude(status=OrderStatus.CANCELLED)
        .select_related("route")
        .prefetch_related("pours")
        .order_by("pk")
    }
    pours = {pk: castable(order) for pk, order in orders.items()}
    names = [f"pour:{pour.pk}" for found in pours.values() for pour in found]
    costs = stores.casting_costs(site.pk, names) if names else {}
    return [
        Proposal(
            need=need,
            order=orders.get(need.tool_id),
            mass_kg=sum((p.mass_kg for p in pours.get(need.tool_id, ())), Decimal(0)),
            cost=_total(costs.get(f"pour:{p.pk}") for p in pours.get(need.tool_id, ())),
        )
        for need in needs
    ]


def castable(order: ToolOrder) -> list[Pour]:
    """Return the pours of an order that can be copied, by half; failed ones were cast again."""
    gone = (PourStatus.CANCELLED, PourStatus.FAILED)
    return sorted((p for p in order.pours.all() if p.status not in gone), key=lambda p: p.half)


def _total(costs: Iterable[dict[str, Decimal] | None]) -> dict[str, Decimal]:
    """Add costs by currency; nothing is told where one of the castings has none."""
    rows = list(costs)
    if not rows or not all(rows):
        return {}
    total: dict[str, Decimal] = {}
    for row in rows:
        for currency, amount in (row or {}).items():
            total[currency] = total.get(currency, Decimal(0)) + amount
    return total
