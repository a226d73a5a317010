"""Figures for the buyer: suppliers, slow movers, worth of stock by day, resin and hardener."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Max, Q, QuerySet
from django.db.models.functions import Coalesce

from shared import clock
from shared.access.models import Site
from shop.core.proportion import Proportion, Ratio, proportions
from shop.core.supplying import Arrival, Line, Performance, performance
from shop.ledger.models import Movement, MovementKind
from shop.ledger.receipt_terms import ReceiptTerms
from shop.lots.models import Container, Lot, LotStatus
from shop.materials.models import Material, ResinSystem
from shop.materials.suppliers import Supplier, home_currency
from shop.purchasing import queries as purchasing
from shop.purchasing.models import COMING, OrderStatus, PurchaseOrderLine
from shop.sums import exact_sum

ZERO = Decimal(0)
SENT = (OrderStatus.ORDERED, OrderStatus.CONFIRMED, OrderStatus.RECEIVED, OrderStatus.CLOSED)
SLOW_DAYS = 90
"""A material of which nothing went out for so long moves slowly; chosen here."""
COVER_DAYS = 365
"""So does one that lasts longer than this at its pace; chosen here."""
PACE_DAYS = 182
MOST_DAYS = 366


@dataclass(frozen=True)
class SupplierFigures:
    """One supplier and what it did."""

    supplier: Supplier
    done: Performance


def suppliers(site: Site, first: date, last: date) -> list[SupplierFigures]:
    """Return what each supplier did from orders promised in some days; three queries."""
    lines = _lines(site, first, last)
    arrivals = _arrivals(site, first, last)
    rows = Supplier.objects.filter(pk__in={*lines, *arrivals}).order_by("name", "pk")
    return [
        SupplierFigures(one, performance(lines[one.pk], arrivals[one.pk], today=last))
        for one in rows
    ]


def _lines(site: Site, first: date, last: date) -> dict[int, list[Line]]:
    promised = Coalesce("confirmed_on", "expected_on")
    rows = PurchaseOrderLine.objects.annotate(promised=promised).filter(
        order__site=site, order__status__in=SENT, promised__gte=first, promised__lte=last
    )
    lines = {line.counterpart: line for line in rows.select_related("order")}
    came: dict[str, list[tuple[date, Decimal]]] = defaultdict(list)
    moves = Movement.objects.filter(site=site, counterpart__in=list(lines))
    moves = moves.annotate(at=Coalesce("reverses__happened_at", "happened_at"))
    for name, at, quantity in moves.values_list("counterpart", "at", "quantity").iterator():
        came[name].append((clock.local(at, site).date(), quantity))
    found: dict[int, list[Line]] = defaultdict(list)
    for name, line in lines.items():
        one = Line(line.quantity, line.expected_on, line.due_on, came[name])
        found[line.order.supplier_id].append(one)
    return found


def _arrivals(site: Site, first: date, last: date) -> dict[int, list[Arrival]]:
    start, end = clock.day_start(first, site), clock.day_end(last, site)
    rows = receipts(site).filter(movement__happened_at__gte=start, movement__happened_at__lt=end)
    unsound = _unsound(site)
    found: dict[int, list[Arrival]] = defaultdict(list)
    seen: set[tuple[int, object]] = set()
    for row in rows.exclude(movement__container__lot__supplier=None):
        lot, moved = row.movement.container.lot, row.movement
        if (lot.pk, moved.happened_at) in seen:  # one lot of one delivery counts once
            continue
        seen.add((lot.pk, moved.happened_at))
        sound = lot.pk not in unsound
        found[lot.supplier_id or 0].append(Arrival(sound, row.life_left_days, row.least_life_days))
    return found


def _unsound(site: Site) -> set[int]:
    """Return lots that are held or recalled now, or of which something was sent back."""
    held = Lot.objects.filter(site=site, status=LotStatus.HELD).values_list("pk", flat=True)
    back = Movement.objects.filter(site=site, kind=MovementKind.RETURN, reversed_by=None)
    return {*held, *back.values_list("container__lot", flat=True)}


def receipts(site: Site) -> QuerySet[ReceiptTerms]:
    """Return what came in with its price and freshness, the latest first; undone left out."""
    rows = ReceiptTerms.objects.filter(movement__site=site, movement__reversed_by=None)
    return rows.select_related(
        "movement__container__lot__material", "movement__container__lot__supplier"
    ).order_by("-movement__happened_at", "-pk")


@dataclass
class SlowMover:
    """A material in stock that hardly goes out."""

    material: Material
    held: Decimal
    last_used: date | None
    used: Decimal
    """In `PACE_DAYS` days."""
    worth: dict[str, Decimal] = field(default_factory=dict)
    unpriced: bool = False

    @property
    def cover_days(self) -> int | None:
        """Return for how many days it lasts at its pace; None where nothing went out."""
        return int(self.held / self.used * PACE_DAYS) if self.used > 0 else None


def slow_movers(site: Site, today: date) -> list[SlowMover]:
    """Return what nothing was used of lately, or that lasts too long, the longest first."""
    since = clock.day_start(today - timedelta(days=PACE_DAYS), site)
    about = Movement.objects.filter(site=site).annotate(
        about=Coalesce("reverses__kind", "kind"),
        at=Coalesce("reverses__happened_at", "happened_at"),
    )
    issued = about.filter(about=MovementKind.ISSUE).order_by()
    by = "container__lot__material"
    used = dict(issued.filter(at__gte=since).values_list(by).annotate(sum=exact_sum("quantity")))
    whole = issued.filter(kind=MovementKind.ISSUE, reversed_by=None)
    last = dict(whole.values_list(by).annotate(latest=Max("happened_at")))
    found: dict[int, SlowMover] = {}
    held = Container.objects.filter(lot__site=site, balance__gt=0)
    for can in held.select_related("lot__material", "lot__supplier").iterator():
        material = can.lot.material
        if material.pk not in found:
            at = last.get(material.pk)
            day = clock.local(at, site).date() if at else None
            out = -used.get(material.pk, ZERO)
            found[material.pk] = SlowMover(material, ZERO, day, out)
        _add_worth(found[material.pk], can)
    slow = [one for one in found.values() if _slow(one, today)]
    return sorted(slow, key=lambda one: (-(one.cover_days or 10**9), one.material.code))


def _add_worth(one: SlowMover, can: Container) -> None:
    one.held += can.balance
    if can.lot.unit_cost is None:
        one.unpriced = True
        return
    currency = can.lot.supplier.currency if can.lot.supplier else home_currency()
    worth = one.worth.get(currency, ZERO) + can.lot.unit_cost * can.balance
    one.worth[currency] = worth.quantize(Decimal("0.01"))


def _slow(one: SlowMover, today: date) -> bool:
    if one.last_used is None or (today - one.last_used).days >= SLOW_DAYS:
        return True
    return one.cover_days is None or one.cover_days > COVER_DAYS


@dataclass(frozen=True)
class DayWorth:
    """What stock was worth at the end of a day, by currency, and lots that have no price."""

    day: date
    worth: dict[str, Decimal]
    unpriced: int


def stock_worth(site: Site, days: int, today: date) -> list[DayWorth]:
    """
    Return what stock was worth at the end of each of some days up to today.

    From the ledger by the day things happened, at each lot's mean price; two queries.
    """
    first = today - timedelta(days=days - 1)
    start = clock.day_start(first, site)
    moves = Movement.objects.filter(site=site).order_by()
    opening = moves.filter(happened_at__lt=start).values_list("container__lot")
    held: dict[int, Decimal] = dict(opening.annotate(total=exact_sum("quantity")))
    by_day: dict[date, list[tuple[int, Decimal]]] = defaultdict(list)
    later = moves.filter(happened_at__gte=start, happened_at__lt=clock.day_end(today, site))
    for lot, at, quantity in later.values_list("container__lot", "happened_at", "quantity"):
        by_day[clock.local(at, site).date()].append((lot, quantity))
    priced = Lot.objects.filter(site=site).values_list("pk", "unit_cost", "supplier__currency")
    prices = {pk: (cost, currency or home_currency()) for pk, cost, currency in priced}
    return _day_by_day(held, by_day, prices, first, days)


def _day_by_day(
    held: dict[int, Decimal],
    by_day: dict[date, list[tuple[int, Decimal]]],
    prices: dict[int, tuple[Decimal | None, str]],
    first: date,
    days: int,
) -> list[DayWorth]:
    total: dict[str, Decimal] = defaultdict(Decimal)
    unpriced: set[int] = set()

    def book(lot: int, quantity: Decimal) -> None:
        cost, currency = prices[lot]
        if cost is not None:
            total[currency] += cost * quantity
        elif held.get(lot, ZERO) > 0:
            unpriced.add(lot)
        else:
            unpriced.discard(lot)

    for lot, quantity in held.items():
        book(lot, quantity)
    found = []
    for day in (first + timedelta(days=n) for n in range(days)):
        for lot, quantity in by_day.get(day, ()):
            held[lot] = held.get(lot, ZERO) + quantity
            book(lot, quantity)
        worth = {c: round(t, 2) for c, t in sorted(total.items()) if round(t, 2)}
        found.append(DayWorth(day, worth, len(unpriced)))
    return found


@dataclass(frozen=True)
class MixGroup:
    """Resins and hardeners that are mixed with each other, in kg: there or coming, and bought."""

    resins: tuple[Material, ...]
    hardeners: tuple[Material, ...]
    there: Proportion
    bought: Proportion


def mix_groups(site: Site, first: date, last: date) -> list[MixGroup]:
    """Return whether resin and hardener are there, and were bought, in proportion."""
    systems = ResinSystem.objects.filter(resin__unit="kg", hardener__unit="kg")
    systems = systems.select_related("resin", "hardener").order_by("pk")
    ratios = [
        Ratio(one.resin.code, one.hardener.code, float(one.hardener_per_100)) for one in systems
    ]
    names = {one.code: one for system in systems for one in (system.resin, system.hardener)}
    there = proportions(ratios, _there(site, list(names.values()), last))
    bought = proportions(ratios, _bought(site, first, last))
    return [
        MixGroup(
            tuple(names[code] for code in now.group.resins),
            tuple(names[code] for code in now.group.hardeners),
            now,
            before,
        )
        for now, before in zip(there, bought, strict=True)
    ]


def _there(site: Site, materials: Sequence[Material], today: date) -> dict[str, float]:
    """Return what may be used or is being checked, in date, and what is coming, by code."""
    in_date = Q(lot__expires_on=None) | Q(lot__expires_on__gte=today)
    held = Container.objects.filter(
        in_date,
        lot__site=site,
        consignment=None,
        lot__status__in=[LotStatus.RELEASED, LotStatus.QUARANTINE],
    ).order_by()
    codes = {one.pk: one.code for one in materials}
    found: dict[str, float] = defaultdict(float)
    for pk, total in held.values_list("lot__material").annotate(sum=exact_sum("balance")):
        if pk in codes:
            found[codes[pk]] += float(total)
    for one in purchasing.due(site.pk, list(codes), COMING):
        found[codes[one.material_id]] += float(one.quantity)
    return found


def _bought(site: Site, first: date, last: date) -> dict[str, float]:
    start, end = clock.day_start(first, site), clock.day_end(last, site)
    rows = Movement.objects.filter(
        site=site, kind=MovementKind.RECEIPT, reversed_by=None,
        happened_at__gte=start, happened_at__lt=end,
    ).order_by()  # fmt: skip
    summed = rows.values_list("container__lot__material__code")
    return {code: float(total) for code, total in summed.annotate(sum=exact_sum("quantity"))}
