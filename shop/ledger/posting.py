"""
The one place that writes a movement: the balance and the ledger row in one transaction.

Locks are taken lot first, then container, each in order of id. The lot is locked so that a lot
cannot be held or expire while something is being issued from it; the balance itself is changed by
one conditional UPDATE, and a CHECK of the database stands behind it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F
from django.db.models.functions import Round

from shared import clock
from shared.errors import Invalid
from shop.errors import KeyReused, NotEnoughStock, NotFound, Refused
from shop.ledger.in_time import after_receipt
from shop.ledger.models import Movement, MovementKind, Reservation, UsedReservation
from shop.ledger.opening import opened
from shop.ledger.purposes import open_purposes
from shop.lots.models import Container, Lot
from shop.stores_types import MovementInfo
from shop.sums import exact_sum

STEP = Decimal("0.0001")
"""The smallest step of the ledger, in the unit of the material."""
LARGEST = Decimal(100_000)
"""No movement reaches it, in any unit: more is a slip of the keyboard. Chosen here, no source."""
ZERO = Decimal(0)
CONSIGNMENT = "consignment:"
"""How keys of movements begin that a consignment makes; it alone moves what is on the way."""


class OnTheWay(Refused):
    """The container is on its way to another site."""

    own_code = "on_the_way"


@dataclass(frozen=True)
class Entry:
    """A movement to be written; `quantity` is signed and `used` of it was reserved."""

    key: str
    container_id: int
    kind: MovementKind
    quantity: Decimal
    counterpart: str
    happened_at: datetime
    by_id: int | None = None
    reason: str = ""
    reverses_id: int | None = None
    used: Decimal = ZERO
    opens: bool = False


def exact(quantity: Decimal, *, field: str = "quantity") -> Decimal:
    """Refuse a quantity that is not above zero or finer than the ledger's smallest step."""
    if not isinstance(quantity, Decimal) or not quantity.is_finite() or quantity <= 0:
        words = f"{field} is {quantity}; it must be a number above 0."
        raise Invalid.one(field, "too_small", words, value=quantity, limit=0)
    if quantity >= LARGEST or quantity != quantity.quantize(STEP):
        words = f"{field} is {quantity}; give at most 4 decimals, below {LARGEST:,}."
        raise Invalid.one(field, "too_fine", words, value=quantity, limit=STEP)
    return quantity


def amount(quantity: Decimal, unit: str) -> str:
    """Write a quantity with its unit for people, without trailing zeros."""
    return f"{quantity.normalize():f} {unit}"


def locked(container_ids: Iterable[int]) -> dict[int, Container]:
    """Lock the containers and their lots, in order of id, and return them with their lots."""
    ids = sorted(set(container_ids))
    held = Container.objects.filter(pk__in=ids)
    lots = Lot.objects.filter(pk__in=sorted(set(held.values_list("lot_id", flat=True))))
    list(lots.select_for_update(no_key=True).order_by("pk").values_list("pk"))
    rows = held.select_related("lot__site", "lot__material").order_by("pk")
    found = {row.pk: row for row in rows.select_for_update(of=("self",), no_key=True)}
    for wanted in ids:
        if wanted not in found:
            raise NotFound(f"There is no container {wanted}.", container=wanted)
    return found


def repeat_of(entry: Entry) -> MovementInfo | None:
    """Return the earlier movement of the same key, or None; refuse it if its values differ."""
    earlier = Movement.objects.filter(key=entry.key).first()
    if earlier is None:
        return None
    same = (
        earlier.container_id == entry.container_id
        and earlier.kind == entry.kind
        and earlier.quantity == entry.quantity
        and earlier.counterpart == entry.counterpart
        and earlier.reverses_id == entry.reverses_id
    )
    if not same:
        raise KeyReused(
            f"The key {entry.key} was used for {earlier.get_kind_display().lower()} of "
            f"{earlier.quantity} in container {earlier.container_id}; use a new key for another "
            "movement.",
            key=entry.key,
        )
    return info(earlier)


def info(movement: Movement) -> MovementInfo:
    """Return a movement with the balance it left, which its own container's order decides."""
    upto = Movement.objects.filter(container=movement.container_id, id__lte=movement.pk)
    after = upto.aggregate(total=exact_sum("quantity"))["total"]
    return MovementInfo(movement.pk, movement.key, movement.container_id, movement.quantity, after)


def in_steps(sum_of: Any) -> Round:
    """Round a sum to the column's steps: SQLite adds in binary and would creep below zero."""
    return Round(sum_of, precision=4)


def post(entry: Entry, container: Container) -> MovementInfo:
    """
    Write one movement of a container that is locked, and change its balance.

    Raises
    ------
    NotEnoughStock
        If the balance would fall below zero or below what others have reserved.
    Invalid
        If it is dated before the container's contents came in.
    KeyReused
        If another transaction has just used the key for something else.
    """
    _refuse_on_the_way(entry, container)
    entry = replace(
        entry, happened_at=after_receipt(container, entry.happened_at, kind=entry.kind)
    )
    changes: dict[str, Any] = {
        "balance": in_steps(F("balance") + entry.quantity),
        "reserved": in_steps(F("reserved") - entry.used),
    }
    room = Container.objects.filter(
        pk=container.pk,
        reserved__gte=entry.used,
        balance__gte=in_steps(F("reserved") - entry.used - entry.quantity),
    )
    try:
        with transaction.atomic():
            if room.update(**changes) != 1:
                raise too_little(container, -entry.quantity, entry.used)
            row = _insert(entry, container.lot.site_id)
    except IntegrityError:
        # The unique key decided between two at once; the other one's row is there to be read.
        earlier = repeat_of(entry)
        if earlier is None:
            raise
        return earlier
    # The row is locked since it was read, so what it holds now is known without asking again.
    container.balance += entry.quantity
    container.reserved -= entry.used
    if entry.opens and (container.opened_at is None or container.opened_at > entry.happened_at):
        # A use written down late may be the first one.
        opened([container.pk], entry.happened_at)
        container.opened_at = entry.happened_at
    return MovementInfo(row.pk, row.key, row.container_id, row.quantity, container.balance)


def _refuse_on_the_way(entry: Entry, container: Container) -> None:
    if container.consignment_id is not None and not entry.key.startswith(CONSIGNMENT):
        raise OnTheWay(
            f"Container {container.code} is on its way to another site; it is received there, or "
            "taken back on the page of its consignment.",
            container=container.code,
        )


def _insert(entry: Entry, site_id: int) -> Movement:
    return Movement.objects.create(
        key=entry.key,
        site_id=site_id,
        container_id=entry.container_id,
        kind=entry.kind,
        quantity=entry.quantity,
        counterpart=entry.counterpart,
        reverses_id=entry.reverses_id,
        happened_at=entry.happened_at,
        recorded_at=clock.now(),
        by_id=entry.by_id,
        reason=entry.reason,
    )


def too_little(container: Container, asked: Decimal, own: Decimal = ZERO) -> NotEnoughStock:
    """Say how much a container holds, how much is set aside, and how much is asked."""
    unit = container.lot.material.unit
    free = container.balance - container.reserved + own
    aside = container.reserved - own
    words = (
        f"{container.lot.material.name}, container {container.code}: {amount(asked, unit)} asked, "
        f"it holds {amount(container.balance, unit)}"
    )
    words += f", of which {amount(aside, unit)} is reserved." if aside else "."
    return NotEnoughStock(
        f"{words} At most {amount(free, unit)} can be taken.",
        container=container.code,
        lot=container.lot.code,
        value=str(asked),
        limit=str(free),
        unit=unit,
    )


def shrink_reservations(container: Container, over: Decimal, keep: str = "") -> None:
    """
    Cut reservations by what is physically gone, so that no more is promised than is there.

    What is needed last is cut first; the use named by `keep` is left alone. The audit and the
    outlook show the uses that have become short.
    """
    rows = Reservation.objects.filter(container=container).exclude(purpose=keep)
    for row in rows.order_by("-needed_at", "-id"):
        if over <= 0:
            return
        cut = min(over, row.quantity)
        cut_reservation(row, cut)
        over -= cut
        Container.objects.filter(pk=container.pk).update(reserved=in_steps(F("reserved") - cut))
        container.reserved -= cut


def cut_reservation(row: Reservation, by: Decimal) -> None:
    """Take a quantity off a reservation; nothing left removes it."""
    if by >= row.quantity:
        row.delete()
    else:
        row.quantity -= by
        row.save(update_fields=["quantity"])


def set_aside_again(container: Container, used: UsedReservation) -> None:
    """
    Give a use back what an issue, now undone, had taken of its reservation.

    No more than what is free, and no more than the plan still wants where it can be asked.
    """
    prefixes, wanted = open_purposes()
    more = min(used.quantity, container.balance - container.reserved)
    if used.purpose.startswith(prefixes):
        held = Reservation.objects.filter(purpose=used.purpose)
        there = held.aggregate(total=exact_sum("quantity"))["total"]
        more = min(more, wanted.get(used.purpose, ZERO) - there)
    if more <= 0:
        return
    Container.objects.filter(pk=container.pk).update(reserved=in_steps(F("reserved") + more))
    container.reserved += more
    row, new = Reservation.objects.get_or_create(
        container=container,
        purpose=used.purpose,
        defaults={
            "quantity": more, "needed_at": used.needed_at, "created_at": clock.now()
        },
    )  # fmt: skip
    if not new:
        row.quantity += more
        row.save(update_fields=["quantity"])
