"""Purchase proposals that explain themselves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from shop.core.buying_plan import BuyingPlan, Costs, Demand, best_plan, need_by_need
from shop.core.pack_prices import Pack
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
    later_use_per_day: float = 0.0


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
    """Orders for one material from one supplier; `saved` is against one order per need."""

    orders: tuple[ProposedOrder, ...]
    cost: float
    saved: float
    wasted: float
    proven: bool


@dataclass(frozen=True)
class _Dated:
    need: Need
    demand: Demand
    late: bool


def propose(
    material: str, unit: str, needs: Iterable[Need], offer: Offer, terms: Terms
) -> Proposal:
    """
    Propose what to order from one supplier for one material.

    Parameters
    ----------
    material, unit : str
        Name and unit, for the sentence.
    needs : iterable of Need
        What stock and receipts do not cover; several pours' needs are pooled.
    offer : Offer
        Packs, prices, lead time and calendar.
    terms : Terms
        Today, costs, shelf life, service.

    Returns
    -------
    Proposal
        Empty if nothing is needed. A need that can't be met in time is bought for the first
        possible day, and the order names the pours it is late for.

    Notes
    -----
    Dated needs are guarded against a late delivery by days in hand, ``safety_z`` standard
    deviations of the lead time, because more stock does not help a pour whose delivery is late.
    Pours without a date are guarded by safety stock (`shop.core.safety.reorder`).
    """
    dated = [_date(need, offer, terms) for need in needs if need.quantity > 0]
    if not dated:
        return Proposal((), 0.0, 0.0, 0.0, True)
    demands = [d.demand for d in dated]
    price = min(p / pack.content for pack in offer.packs for _, p in pack.prices)
    costs = Costs(
        offer.order_cost,
        price * terms.holding_rate_per_year / 365.0,
        terms.shelf_days,
        terms.later_use_per_day,
    )
    plan = best_plan(demands, offer.packs, costs)
    saved = max(0.0, need_by_need(demands, offer.packs, costs).cost - plan.cost)
    orders = _orders(material, unit, plan, dated, offer, terms)
    return Proposal(orders, plan.cost, saved, plan.wasted, plan.proven)


def _date(need: Need, offer: Offer, terms: Terms) -> _Dated:
    first = offer.calendar.arrival(terms.today, offer.lead_days)
    in_hand = math.ceil(terms.safety_z * offer.lead_sd_days - 1e-9)
    if terms.shelf_days is not None:
        in_hand = min(in_hand, terms.shelf_days)
    wanted = offer.calendar.open_until(need.day - timedelta(days=in_hand))
    by = max(first, wanted)
    kept = need.pour == SAFETY_STOCK
    late = first > need.day and not kept
    day = max(need.day, by)
    demand = Demand((day - terms.today).days, (by - terms.today).days, need.quantity, kept=kept)
    return _Dated(need, demand, late)


def _orders(
    material: str,
    unit: str,
    plan: BuyingPlan,
    dated: Sequence[_Dated],
    offer: Offer,
    terms: Terms,
) -> tuple[ProposedOrder, ...]:
    served = _served(plan, dated, terms)
    orders = []
    for arrival, pours in zip(plan.arrivals, served, strict=True):
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
            arrival.quantity,
            arrival.packs,
            round(arrival.goods_cost, 2),
            offer.currency,
            tuple((pour, round(q, 4)) for pour, q in covers.items()),
            round(max(0.0, arrival.quantity - math.fsum(covers.values())), 4),
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
    plan: BuyingPlan, dated: Sequence[_Dated], terms: Terms
) -> list[list[tuple[_Dated, float]]]:
    """Serve needs in order of day from the arrivals in order, first in first out."""
    served: list[list[tuple[_Dated, float]]] = [[] for _ in plan.arrivals]
    left = [a.quantity for a in plan.arrivals]
    for item in sorted(dated, key=lambda d: (d.demand.day, d.need.pour)):
        want = item.demand.quantity
        for place, arrival in enumerate(plan.arrivals):
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
