"""Purchase proposals that explain themselves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from shop.core.buying_plan import (
    Arrival,
    BuyingPlan,
    Demand,
    Line,
    NoPlan,
    NoPlanInTime,
    OrderTerms,
)
from shop.core.buying_program import SECONDS, best_plan
from shop.core.buying_start import need_by_need
from shop.core.packs import Pack
from shop.core.supplier_calendar import SupplierCalendar

SAFETY_STOCK = "safety stock"


@dataclass(frozen=True)
class Need:
    """
    A quantity a pour lacks on a day, after stock and receipts.

    `pour` is `SAFETY_STOCK` for a quantity to be kept against uncertain demand.
    """

    day: date
    quantity: float
    pour: str


@dataclass(frozen=True)
class Offer:
    """What one supplier offers for one material."""

    supplier: str
    packs: tuple[Pack, ...]
    lead_days: int
    lead_sd_days: float = 0.0
    order_cost: float = 0.0
    currency: str = "EUR"
    calendar: SupplierCalendar = field(default_factory=SupplierCalendar)
    freight: float = 0.0
    freight_free_from: float | None = None
    least_value: float = 0.0

    @property
    def order_terms(self) -> OrderTerms:
        """What holds for each order, whatever is in it."""
        return OrderTerms(self.order_cost, self.freight, self.freight_free_from, self.least_value)


@dataclass(frozen=True)
class Terms:
    """
    How the shop buys.

    `holding_rate_per_year` is the cost of capital and shelf as a share of the price. `shelf_days`
    is the life left on arrival, None if it never expires. `safety_z` standard deviations of the
    lead time are kept as days in hand.
    """

    today: date
    holding_rate_per_year: float = 0.2
    shelf_days: int | None = None
    safety_z: float = 0.0
    room: tuple[tuple[date, float], ...] = ()
    """For each day, how much more the store can hold; no pairs, no limit."""


@dataclass(frozen=True)
class Wanted:
    """What one material needs, from one supplier."""

    material: str
    unit: str
    needs: tuple[Need, ...]
    offer: Offer
    terms: Terms


@dataclass(frozen=True)
class ProposedOrder:
    """One order to place, with its reason in a sentence."""

    supplier: str
    order_on: date
    arrives_on: date
    quantity: float
    packs: tuple[tuple[str, int], ...]
    goods_cost: float
    currency: str
    covers: tuple[tuple[str, float], ...]
    """Pours it serves and with how much, first in first out."""
    left_over: float
    """What no known need uses."""
    usable_until: date | None
    late_for: tuple[str, ...]
    sentence: str
    """Why, with its figures but without money: not everybody may see prices."""
    money_sentence: str


@dataclass(frozen=True)
class Proposal:
    """
    Orders for one material from one supplier.

    `cost`, `saved` (against one order for each need), `proven` and `gap` are of all materials
    that were planned together; `gap` is the share by which the plan may be too dear at most.
    """

    orders: tuple[ProposedOrder, ...]
    cost: float
    saved: float
    wasted: float
    proven: bool
    gap: float = 0.0


@dataclass(frozen=True)
class _Dated:
    need: Need
    demand: Demand
    late: bool


def propose(
    material: str,
    unit: str,
    needs: Iterable[Need],
    offer: Offer,
    terms: Terms,
    *,
    seconds: float = SECONDS,
) -> Proposal:
    """Propose what to order of one material alone; see `propose_together`."""
    return propose_together([Wanted(material, unit, tuple(needs), offer, terms)], seconds=seconds)[
        0
    ]


def propose_together(
    wanted: Sequence[Wanted], *, seconds: float = SECONDS
) -> tuple[Proposal, ...]:
    """
    Propose what to order of several materials from one supplier, in shared orders.

    Parameters
    ----------
    wanted : sequence of Wanted
        Materials of one supplier with the same lead time; what arrives on one day is one order,
        with one freight and one least value.
    seconds : float, default 1.8
        When to stop looking for a cheaper plan.

    Returns
    -------
    tuple of Proposal
        One for each material, empty if nothing is needed. A need that can't be met in time is
        bought for the first possible day, and the order names the pours it is late for.

    Raises
    ------
    NoPlan
        If no purchase keeps all rules; the words say what stands in the way. `NoPlanInTime` if
        none was found in the time, though there may be one.

    Notes
    -----
    Dated needs are guarded against a late delivery by days in hand, ``safety_z`` standard
    deviations of the lead time, because more stock does not help a pour whose delivery is late.
    Where goods do not keep that long, there are fewer days in hand. Pours without a date are
    guarded by safety stock (`shop.core.safety.reorder`).
    """
    dated = [
        [_date(need, one.offer, one.terms) for need in one.needs if need.quantity > 0]
        for one in wanted
    ]
    lines = _lines(wanted, dated)
    plan = _plan(wanted, lines, seconds)
    single = need_by_need(lines, plan.terms)
    saved = 0.0 if single is None else max(0.0, single - plan.cost)
    found = []
    for place, (one, own) in enumerate(zip(wanted, dated, strict=True)):
        orders = _orders(one.material, one.unit, plan, place, own, one.offer, one.terms)
        lost = plan.expired[place]
        found.append(Proposal(orders, plan.cost, saved, lost, plan.proven, plan.gap))
    return tuple(found)


def _lines(wanted: Sequence[Wanted], dated: Sequence[Sequence[_Dated]]) -> list[Line]:
    days = {d.demand.by for own in dated for d in own}
    lines = []
    for one, own in zip(wanted, dated, strict=True):
        price = min(p / pack.content for pack in one.offer.packs for _, p in pack.prices)
        room = tuple(
            ((day - one.terms.today).days, most)
            for day, most in one.terms.room
            if (day - one.terms.today).days in days
        )
        unit_day = price * one.terms.holding_rate_per_year / 365.0
        demands = tuple(d.demand for d in own)
        lines.append(
            Line(demands, one.offer.packs, unit_day, one.terms.shelf_days, room, one.material)
        )
    return lines


def _plan(wanted: Sequence[Wanted], lines: Sequence[Line], seconds: float) -> BuyingPlan:
    terms = wanted[0].offer.order_terms
    try:
        return best_plan(lines, terms, seconds=seconds)
    except NoPlanInTime:
        raise
    except NoPlan as reason:
        if len(lines) > 1 or not lines[0].room:
            raise
        line, one = lines[0], wanted[0]
        if _possible([replace(line, room=())], terms):
            most = max(most for _, most in line.room)
            words = f"the store has room for {most:g} {one.unit} at most"
            if _possible([line], replace(terms, least_value=0.0)):
                least = f"{terms.least_value:.2f} {one.offer.currency}"
                words += f", and {one.offer.supplier} takes no order below {least}"
            raise NoPlan(words) from reason
        raise


def _possible(lines: Sequence[Line], terms: OrderTerms) -> bool:
    try:
        best_plan(lines, terms, seconds=SECONDS / 3)
    except NoPlan:
        return False
    return True


def _date(need: Need, offer: Offer, terms: Terms) -> _Dated:
    first = offer.calendar.arrival(terms.today, offer.lead_days)
    in_hand = math.ceil(terms.safety_z * offer.lead_sd_days - 1e-9)
    kept = need.pour == SAFETY_STOCK
    late = first > need.day and not kept
    day = max(need.day, first)
    by = max(first, offer.calendar.open_until(need.day - timedelta(days=in_hand)))
    if terms.shelf_days is not None and (day - by).days > terms.shelf_days:
        # Closed days, or days in hand, lie before the time in which the goods keep until then.
        by = offer.calendar.open_from(day - timedelta(days=terms.shelf_days))
    if by > day and not kept:
        raise NoPlan(
            f"{need.pour} on {_day(need.day)} cannot be served: goods keep {terms.shelf_days} "
            f"days and {offer.supplier} is closed on all of the {terms.shelf_days} days before it"
        )
    day = max(day, by)
    demand = Demand((day - terms.today).days, (by - terms.today).days, need.quantity, kept=kept)
    return _Dated(need, demand, late)


def _orders(
    material: str,
    unit: str,
    plan: BuyingPlan,
    line: int,
    dated: Sequence[_Dated],
    offer: Offer,
    terms: Terms,
) -> tuple[ProposedOrder, ...]:
    arrivals = [a for a in plan.arrivals if a.line == line]
    served = _served(plan, arrivals, dated, terms)
    orders = []
    for arrival, pours in zip(arrivals, served, strict=True):
        arrived = plan.quantity(arrival)
        arrives = terms.today + timedelta(days=arrival.day)
        covers: dict[str, float] = {}
        for item, quantity in pours:
            covers[item.need.pour] = covers.get(item.need.pour, 0.0) + quantity
        late = tuple(dict.fromkeys(item.need.pour for item, _ in pours if item.late))
        until = None if terms.shelf_days is None else arrives + timedelta(days=terms.shelf_days)
        order = ProposedOrder(
            offer.supplier,
            max(
                offer.calendar.last_order(arrives, offer.lead_days),
                offer.calendar.open_from(terms.today),
            ),
            arrives,
            arrived,
            tuple((p.name, n) for p, n in zip(offer.packs, arrival.counts, strict=True) if n),
            round(plan.goods_cost(arrival), 2),
            offer.currency,
            tuple((pour, round(q, 4)) for pour, q in covers.items()),
            round(max(0.0, arrived - math.fsum(covers.values())), 4),
            until,
            late,
            "",
            "",
        )
        days = [item.need.day for item, _ in pours] or [arrives]
        told = _told(order, material, unit, max(days))
        orders.append(_with_days_in_hand(told, (min(days) - arrives).days, offer, terms))
    return tuple(orders)


def _served(
    plan: BuyingPlan, arrivals: Sequence[Arrival], dated: Sequence[_Dated], terms: Terms
) -> list[list[tuple[_Dated, float]]]:
    """Serve needs in order of day from the arrivals in order, first in first out."""
    served: list[list[tuple[_Dated, float]]] = [[] for _ in arrivals]
    left = [plan.quantity(a) for a in arrivals]
    for item in sorted(dated, key=lambda d: (d.demand.day, d.need.pour)):
        want = item.demand.quantity
        for place, arrival in enumerate(arrivals):
            dead = terms.shelf_days is not None and (
                arrival.day + terms.shelf_days < item.demand.day
            )
            if arrival.day > item.demand.day or dead or left[place] <= 1e-9:
                continue
            part = min(want, left[place])
            left[place] -= part
            want -= part
            served[place].append((item, part))
            if want <= 1e-9:
                break
    return served


def _told(order: ProposedOrder, material: str, unit: str, last: date) -> ProposedOrder:
    packs = " and ".join(f"{n} × {name}" for name, n in order.packs)
    names = [pour for pour, _ in order.covers]
    who = "; ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    used = order.quantity - order.left_over
    text = (
        f"Order {packs} of {material} ({order.quantity:g} {unit}) from {order.supplier} by "
        f"{_day(order.order_on)}; it arrives on {_day(order.arrives_on)} and covers "
        f"{used:.4g} {unit} for {who} until {_day(last)}."
    )
    if order.late_for:
        text += f" It comes too late for {'; '.join(order.late_for)}: ask for faster delivery."
    if order.left_over > 1e-6:
        text += f" {order.left_over:.4g} {unit} stay over"
        text += f", usable until {_day(order.usable_until)}." if order.usable_until else "."
    money = f"Goods {order.goods_cost:.2f} {order.currency}."
    return replace(order, sentence=text, money_sentence=money)


def _with_days_in_hand(
    order: ProposedOrder, days: int, offer: Offer, terms: Terms
) -> ProposedOrder:
    """Say how many days goods come before they are needed because deliveries vary."""
    in_hand = min(days, math.ceil(terms.safety_z * offer.lead_sd_days - 1e-9))
    if in_hand < 1:
        return order
    text = (
        f"{order.sentence} It comes {days} day{'' if days == 1 else 's'} before the first need, "
        f"{in_hand} of them because the {offer.lead_days} days of delivery vary (standard "
        f"deviation {offer.lead_sd_days:g} d)."
    )
    return replace(order, sentence=text)


_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def _day(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
