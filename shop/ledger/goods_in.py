"""Goods in: lots and containers with their receipts, one delivery all or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Q

from shared import clock
from shared.access.models import Site, User
from shared.errors import FieldProblem, Invalid
from shared.retry import retried
from shop import telling
from shop.core.shelf_life import sealed_until, usable_until
from shop.errors import KeyReused
from shop.ledger.actions import receive
from shop.ledger.models import Movement, MovementKind
from shop.ledger.posting import exact
from shop.ledger.receipt_terms import ReceiptTerms
from shop.ledger.short_dated import short_dated
from shop.lots.labels import new_container
from shop.lots.models import Container, Lot, LotStatus, Placement
from shop.materials.models import Material
from shop.materials.suppliers import Supplier
from shop.recalls.queries import in_force
from shop.sites.models import Location
from shop.sums import exact_sum

MOST_CONTAINERS = 500
LONGEST_LIFE = timedelta(days=3653)
"""Ten years; no casting material keeps longer. Chosen here, no source."""
LABEL_LONGER = 0.5
"""How far a label may go past the shelf life, as a share of it, unasked. Chosen here."""


@dataclass(frozen=True)
class Pack:
    """One container as it stands on the dock."""

    quantity: Decimal
    location: Location | None = None
    code: str = ""


@dataclass(frozen=True)
class Goods:
    """One lot of a delivery, with its containers."""

    material: Material
    lot_code: str
    containers: Sequence[Pack]
    supplier: Supplier | None = None
    made_on: date | None = None
    expires_on: date | None = None
    unit_cost: Decimal | None = None
    certificate: str = ""
    counterpart: str = ""
    """The other side in the ledger; the supplier unless an order line is named."""
    least_life_days: int | None = None
    """As its order asks; without an order as agreed with the supplier."""

    @property
    def life_asked(self) -> int | None:
        """Return the least days of shelf life that were asked for, by order or supplier."""
        if self.least_life_days is not None or self.supplier is None:
            return self.least_life_days
        return self.supplier.least_life_days


@dataclass(frozen=True)
class Received:
    """A lot that was taken in, its new containers, and what a person should know of it."""

    lot: Lot
    containers: tuple[Container, ...]
    expiry_from: str | None
    """The clock that set the expiry: label or shelf life."""
    warnings: tuple[str, ...] = field(default=())


@retried
def receive_goods(
    *,
    site: Site,
    goods: Sequence[Goods],
    key: str,
    received_at: datetime,
    by: User | None = None,
    reason: str = "",
    order: Any = None,
) -> tuple[Received, ...]:
    """
    Take in one or many lots with their containers in one transaction.

    The expiry is the label's or follows from the shelf life; the stricter holds. A material that
    asks for it goes into quarantine until somebody has checked it. A repeat of the key returns
    what was taken in the first time.

    Raises
    ------
    Invalid
        With every fault of every lot; nothing is taken in.
    """
    if earlier := _earlier(key, goods):
        return earlier
    # A recall takes the same lock, so that no delivery slips in while it is written.
    materials = Material.objects.filter(pk__in={one.material.pk for one in goods})
    list(materials.select_for_update(no_key=True).order_by("pk").values_list("pk"))
    today = clock.local(received_at, site).date()
    faults = [fault for n, one in enumerate(goods) for fault in _faults(n, one, today)]
    if not goods:
        faults = [FieldProblem("#/goods", "empty", "goods is empty; give at least one lot.")]
    if faults:
        raise Invalid(" ".join(fault.detail for fault in faults), tuple(faults))
    taken = tuple(
        _take_in(site, one, f"{key}:{n}", received_at, by, reason)
        for n, one in enumerate(goods, 1)
    )
    telling.received(taken, at=received_at, order=order, by=by)
    return taken


def expiry(goods: Goods) -> tuple[date | None, str | None]:
    """Return the last usable day of goods and the clock that sets it."""
    state = usable_until(
        label_until=goods.expires_on,
        made_on=goods.made_on,
        shelf_life_months=goods.material.shelf_life_months,
    )
    return state.until, state.binding


def _faults(n: int, goods: Goods, today: date) -> list[FieldProblem]:
    at, found = f"#/goods/{n}", []

    def fault(name: str, code: str, words: str, **figures: str) -> None:
        found.append(FieldProblem(f"{at}/{name}", code, words, **figures))

    material = goods.material
    if not goods.containers or len(goods.containers) > MOST_CONTAINERS:
        count = len(goods.containers)
        words = f"containers has {count} entries; give 1 to {MOST_CONTAINERS}."
        fault("containers", "count", words, value=str(count), limit=str(MOST_CONTAINERS))
    for m, pack in enumerate(goods.containers):
        try:
            exact(pack.quantity)
        except Invalid as error:
            fault(f"containers/{m}/quantity", error.problems[0].code, error.message)
    if goods.made_on and goods.made_on > today:
        words = f"made_on is {goods.made_on}; it must not be after the receipt, {today}."
        fault("made_on", "in_future", words, value=str(goods.made_on), limit=str(today))
    if goods.expires_on and goods.made_on and goods.expires_on < goods.made_on:
        words = f"expires_on is {goods.expires_on}, before made_on, {goods.made_on}."
        fault("expires_on", "before_made", words, value=str(goods.expires_on))
    elif material.shelf_life_months and not (goods.expires_on or goods.made_on):
        words = (
            f"{material.name} keeps {material.shelf_life_months} months; give expires_on from "
            "the label, or made_on."
        )
        fault("expires_on", "required", words)
    elif words := _unlikely_expiry(goods, today):
        fault("expires_on", "unlikely", words, value=str(goods.expires_on))
    else:
        until, binding = expiry(goods)
        if until and until < today:
            words = (
                f"{material.name}, lot {goods.lot_code}: by its {binding} usable until {until}, "
                f"received on {today}. Refuse the delivery, or correct the date."
            )
            fault("expires_on", "expired", words, value=str(until), limit=str(today))
    return found


def _unlikely_expiry(goods: Goods, today: date) -> str:
    """Return what is odd about a label's expiry; empty if nothing is."""
    until, months = goods.expires_on, goods.material.shelf_life_months
    if until is None:
        return ""
    if until > today + LONGEST_LIFE:
        return f"expires_on is {until}, more than ten years ahead; check the year on the label."
    if not months or goods.made_on:
        return ""
    latest = sealed_until(today, months=months)
    if until <= latest + (latest - today) * LABEL_LONGER:
        return ""
    return (
        f"expires_on is {until}; {goods.material.name} keeps {months} months, so even made today "
        f"it would keep to {latest}. Compare the label, or give made_on as well: the stricter "
        "of both holds."
    )


def _take_in(
    site: Site, goods: Goods, key: str, at: datetime, by: User | None, reason: str
) -> Received:
    until, binding = expiry(goods)
    lot = _lot(site, goods, until, clock.local(at, site).date())
    made = []
    for n, pack in enumerate(goods.containers):
        container = new_container(lot, code=pack.code, location=pack.location)
        if pack.location is not None:
            Placement.objects.create(container=container, location=pack.location, since=at, by=by)
        moved = receive(
            container_id=container.pk,
            quantity=pack.quantity,
            key=f"{key}.{n + 1}",
            counterpart=goods.counterpart or _side(goods.supplier),
            happened_at=at,
            by=by,
            reason=reason,
        )
        _keep_terms(moved.id, goods, until, clock.local(at, site).date())
        container.refresh_from_db()
        made.append(container)
    total = sum((pack.quantity for pack in goods.containers), Decimal(0))
    _mean_price(lot, total, goods.unit_cost)
    warnings = (
        *_held(lot),
        *_short_lived(goods, until, clock.local(at, site).date()),
        *short_dated(lot, total, at),
    )
    return Received(lot, tuple(made), binding, warnings)


def _keep_terms(movement_id: int, goods: Goods, until: date | None, today: date) -> None:
    """Keep what it cost and how fresh it was; the lot's own price and expiry may move later."""
    ReceiptTerms.objects.create(
        movement_id=movement_id,
        unit_cost=goods.unit_cost,
        currency=goods.supplier.currency if goods.supplier else "",
        life_left_days=None if until is None else (until - today).days,
        least_life_days=goods.life_asked,
    )


def _mean_price(lot: Lot, came: Decimal, price: Decimal | None) -> None:
    """Price a lot that came more than once by the mean of what was paid, by quantity received."""
    if price is None or price == lot.unit_cost:
        return
    net = Q(kind=MovementKind.RECEIPT) | Q(reverses__kind=MovementKind.RECEIPT)
    moves = Movement.objects.filter(net, container__lot=lot)
    whole = moves.aggregate(total=exact_sum("quantity"))["total"]
    if lot.unit_cost is not None and whole > 0:
        paid = lot.unit_cost * (whole - came) + price * came
        price = (paid / whole).quantize(Decimal("0.0001"))
    lot.unit_cost = price
    lot.version += 1
    lot.save(update_fields=["unit_cost", "version"])


def _held(lot: Lot) -> tuple[str, ...]:
    """Return a warning if nobody may use the lot that has just come."""
    if lot.status != LotStatus.HELD:
        return ()
    return (f"Lot {lot.code} is held ({lot.status_reason}). Set it aside; nobody may use it.",)


def _short_lived(goods: Goods, until: date | None, today: date) -> tuple[str, ...]:
    """Return a warning if less shelf life is left than was ordered or agreed."""
    least, by_order = goods.life_asked, goods.least_life_days is not None
    if least is None or until is None or (until - today).days >= least:
        return ()
    return (
        f"Lot {goods.lot_code} of {goods.material.name}: {max(0, (until - today).days)} days of "
        f"shelf life are left; {least} days are "
        f"{'ordered from' if by_order else 'agreed with'} {goods.supplier}. Complain before it is "
        "used, or send it back.",
    )


def _side(supplier: Supplier | None) -> str:
    return f"supplier:{supplier.pk}" if supplier else "supplier:unknown"


def _lot(site: Site, goods: Goods, until: date | None, today: date) -> Lot:
    """Return the lot, new or as it was received before; a repeat must say the same of it."""
    fresh, reason = _first_status(site, goods)
    lot, new = Lot.objects.select_for_update(no_key=True).get_or_create(
        site=site,
        material=goods.material,
        supplier=goods.supplier,
        code__iexact=goods.lot_code,
        defaults={
            "code": goods.lot_code,
            "received_on": today,
            "made_on": goods.made_on,
            "expires_on": until,
            "status": fresh,
            "status_reason": reason,
            "status_at": clock.now(),
            "unit_cost": goods.unit_cost,
            "certificate": goods.certificate,
        },
    )
    if new:
        lot.full_clean(validate_unique=False, validate_constraints=False)
    elif not lot.retested_on and lot.expires_on != until:
        words = (
            f"Lot {lot.code} was received before with expiry {lot.expires_on}, now {until}; "
            "compare the labels."
        )
        raise Invalid.one("goods/expires_on", "differs", words, value=until, limit=lot.expires_on)
    elif lot.status == LotStatus.FINISHED or (fresh == LotStatus.HELD and lot.status != fresh):
        lot.status, lot.status_reason, lot.status_at = fresh, reason, clock.now()
        lot.version += 1
        lot.save(update_fields=["status", "status_reason", "status_at", "version"])
    return lot


def _first_status(site: Site, goods: Goods) -> tuple[LotStatus, str]:
    """Return the state of goods that come in, and why: recalled, to be checked, or usable."""
    material = goods.material
    recall = in_force(site_id=site.pk, material_id=material.pk, lot_code=goods.lot_code).first()
    if recall is not None:
        return LotStatus.HELD, f"recalled: {recall.reason}"[:200]
    return (LotStatus.QUARANTINE if material.check_on_receipt else LotStatus.RELEASED), ""


def _earlier(key: str, goods: Sequence[Goods]) -> tuple[Received, ...]:
    rows = Movement.objects.filter(key__startswith=f"{key}:", kind="receipt")
    rows = rows.select_related("container__lot__material").order_by("id")
    lots: dict[int, list[Movement]] = {}
    for row in rows:
        lots.setdefault(row.container.lot_id, []).append(row)
    if not lots:
        return ()
    asked = [(one.lot_code.upper(), [p.quantity for p in one.containers]) for one in goods]
    there = [(m[0].container.lot.code.upper(), [row.quantity for row in m]) for m in lots.values()]
    if asked != there:
        raise KeyReused(f"The key {key} was used for another receipt; use a new key.", key=key)
    return tuple(
        Received(moves[0].container.lot, tuple(row.container for row in moves), None)
        for moves in lots.values()
    )
