"""Writes to the ledger, one verb a function; each is all or nothing and safe to repeat."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from shared import clock
from shared.access.models import User
from shared.errors import Invalid
from shared.retry import retried
from shared.times import in_order
from shop.errors import (
    AlreadyReversed,
    LotExpired,
    LotHeld,
    LotNotUsable,
    LotQuarantined,
    NotFound,
    NotReversible,
)
from shop.ledger.models import USES, Movement, MovementKind, Reservation, UsedReservation
from shop.ledger.opening import opened
from shop.ledger.posting import (
    Entry,
    cut_reservation,
    exact,
    locked,
    post,
    repeat_of,
    set_aside_again,
    shrink_reservations,
)
from shop.lots.models import Container, LotStatus
from shop.lots.queries import clocks
from shop.stores_types import MovementInfo

OUT = "out"
IN = "in"


def refuse_unusable(
    container: Container, at: datetime, *, used_by: datetime | None = None
) -> None:
    """
    Refuse a lot that is in quarantine, held or finished, or out of date at a moment.

    With `used_by` it must still be in date at the end of its use, opened at the moment if it was
    sealed until then.
    """
    lot = container.lot
    named = f"Lot {lot.code} of {lot.material.name}"
    reason = f" ({lot.status_reason})" if lot.status_reason else ""
    facts = {"lot": lot.code, "container": container.code}
    if lot.status == LotStatus.QUARANTINE:
        raise LotQuarantined(
            f"{named} is in quarantine{reason}; have it checked and released first.", **facts
        )
    if lot.status == LotStatus.HELD:
        raise LotHeld(f"{named} is held{reason}; take another lot.", **facts)
    if lot.status != LotStatus.RELEASED:
        raise LotNotUsable(f"{named} is {lot.get_status_display().lower()}.", **facts)
    last = at if used_by is None else max(at, used_by)
    opened_at = container.opened_at if used_by is None else container.opened_at or at
    state, day = clocks(container, opened_at), clock.local(last, lot.site).date()
    if not state.usable_on(day) and state.until is not None:
        what = "open life ended" if state.binding == "open life" else "expired"
        raise LotExpired(
            f"{named}, container {container.code}: {what} on {state.until.isoformat()}, asked for "
            f"{day.isoformat()}; take another lot.",
            limit=state.until.isoformat(),
            value=day.isoformat(),
            **facts,
        )


def refuse_unknown_use(counterpart: str) -> None:
    """Refuse a use that the trace could not name: its kind is unknown, or it names no row."""
    kind, _, rest = counterpart.partition(":")
    if kind == "other" and rest.strip():
        return
    if kind in USES and kind != "other" and rest.isascii() and rest.isdigit():
        return
    words = (
        f"counterpart is {counterpart[:60]!r}; give what it was used for as batch:7, pour:7 or "
        "tool:7, with its id, or other: with words, such as other:training."
    )
    raise Invalid.one("counterpart", "unknown_use", words, value=counterpart[:60])


@retried
def receive(
    *,
    container_id: int,
    quantity: Decimal,
    key: str,
    counterpart: str,
    happened_at: datetime,
    by: User | None = None,
    reason: str = "",
) -> MovementInfo:
    """Put what has arrived into a container of its lot."""
    about = _about(key, container_id, counterpart, happened_at, by, reason)
    entry = Entry(kind=MovementKind.RECEIPT, quantity=exact(quantity), **about)
    container = locked([container_id])[container_id]
    return repeat_of(entry) or post(entry, container)


@retried
def issue(
    *,
    container_id: int,
    quantity: Decimal,
    key: str,
    counterpart: str,
    purpose: str = "",
    happened_at: datetime,
    used_by: datetime | None = None,
    by: User | None = None,
    reason: str = "",
    already: bool = False,
) -> MovementInfo:
    """
    Take material out for a batch or a coat; the first issue opens the container.

    `counterpart` is `batch:7`, `pour:7`, `tool:7`, or `other:` with words, so that the trace
    finds it. The material must be in date until `used_by`, the end of the pour. What is reserved
    for `purpose` is used up first. More may have been weighed than was reserved: it is gone, so
    reservations of later uses shrink to what is left. With `already` it has left the can: a held
    or expired lot no longer stops it, or the ledger would not be true.
    """
    refuse_unknown_use(counterpart)
    about = _about(key, container_id, counterpart, happened_at, by, reason)
    entry = Entry(kind=MovementKind.ISSUE, quantity=-exact(quantity), opens=True, **about)
    container = locked([container_id])[container_id]
    if earlier := repeat_of(entry):
        return earlier
    if not already:
        refuse_unusable(container, happened_at, used_by=used_by)
    own = None
    if purpose:
        own = Reservation.objects.filter(container=container, purpose=purpose).first()
    if own is None:
        if already and quantity <= container.balance:
            # It has left the can: who had set it aside is left with what remains.
            shrink_reservations(container, container.reserved - (container.balance - quantity))
        return post(entry, container)
    used = min(own.quantity, quantity)
    if quantity <= container.balance:
        over = container.reserved - used - (container.balance - quantity)
        shrink_reservations(container, over, keep=purpose)
    posted = post(replace(entry, used=used), container)
    UsedReservation.objects.get_or_create(
        movement_id=posted.id,
        defaults={"purpose": purpose, "quantity": used, "needed_at": own.needed_at},
    )
    cut_reservation(own, used)
    return posted


@retried
def take_out(
    *,
    kind: MovementKind,
    container_id: int,
    quantity: Decimal,
    key: str,
    counterpart: str,
    happened_at: datetime,
    by: User | None = None,
    reason: str = "",
) -> MovementInfo:
    """
    Take out a sample, scrap, or what goes back to the supplier; any status, in date or not.

    Taking a part of it out opens the container; what goes out whole may be sealed still.

    Scrap is gone whether or not it was promised; a sample or a return is only taken from what is
    free.
    """
    about = _about(key, container_id, counterpart, happened_at, by, reason)
    entry = Entry(kind=kind, quantity=-exact(quantity), **about)
    container = locked([container_id])[container_id]
    if earlier := repeat_of(entry):
        return earlier
    entry = replace(entry, opens=quantity < container.balance)
    if kind == MovementKind.SCRAP and quantity <= container.balance:
        shrink_reservations(container, container.reserved - (container.balance - quantity))
    return post(entry, container)


@retried
def adjust(
    *,
    container_id: int,
    counted: Decimal,
    expected: Decimal,
    key: str,
    happened_at: datetime,
    by: User | None = None,
    reason: str = "",
) -> MovementInfo | None:
    """
    Bring a balance to what was counted, by the difference to what the ledger held at the count.

    Movements since the count stay in force, so the difference is booked, not the counted figure.
    No difference, no movement.
    """
    difference = counted - expected
    if difference == 0:
        return None
    about = _about(key, container_id, "count-difference", happened_at, by, reason)
    entry = Entry(kind=MovementKind.COUNT, quantity=difference, **about)
    container = locked([container_id])[container_id]
    if earlier := repeat_of(entry):
        return earlier
    if 0 < -difference <= container.balance:
        shrink_reservations(container, container.reserved - (container.balance + difference))
    return post(entry, container)


@retried
def transfer(
    *,
    from_container_id: int,
    to_container_id: int,
    quantity: Decimal,
    key: str,
    happened_at: datetime,
    by: User | None = None,
    reason: str = "",
) -> tuple[MovementInfo, MovementInfo]:
    """Move material between two containers of one lot: two rows whose sum is zero."""
    exact(quantity)
    ends = ((OUT, from_container_id, to_container_id, -quantity),
            (IN, to_container_id, from_container_id, quantity))  # fmt: skip
    entries = {
        own: Entry(
            kind=MovementKind.TRANSFER,
            quantity=signed,
            opens=side == OUT,
            **_about(f"{key}:{side}", own, f"container:{other}", happened_at, by, reason),
        )
        for side, own, other, signed in ends
    }
    containers = locked(entries)
    source, target = containers[from_container_id], containers.get(to_container_id)
    if target is None or source.pk == target.pk or source.lot_id != target.lot_id:
        words = "to_container must be another container of the same lot."
        raise Invalid.one("to_container", "not_same_lot", words)
    done = {pk: repeat_of(entries[pk]) or post(entries[pk], containers[pk]) for pk in containers}
    if source.opened_at:
        # The clock goes with the material: of both containers the one open longer counts.
        opened([target.pk], source.opened_at)
    return done[from_container_id], done[to_container_id]


@retried
def reverse(
    *,
    key_of_original: str,
    key: str,
    reason: str,
    by: User | None = None,
    happened_at: datetime,
) -> MovementInfo:
    """
    Put a movement right by a counter-movement that names it; at most one for each movement.

    A transfer has two rows and both are undone. What is taken back out must still be there. What
    an issue had used up of a reservation is set aside again, while its use is still planned.
    """
    originals = _originals(key_of_original)
    first = originals[0]
    if first.kind == MovementKind.REVERSAL:
        raise NotReversible(
            f"{key_of_original} is itself a reversal; book the right movement instead."
        )
    happened_at = in_order(
        happened_at,
        field="happened_at",
        after=[("the movement that it reverses", first.happened_at)],
    )
    containers = locked(row.container_id for row in originals)
    posted = []
    for row in sorted(originals, key=lambda r: r.container_id):
        own_key = key if len(originals) == 1 else f"{key}:{row.key.rsplit(':', 1)[1]}"
        about = _about(own_key, row.container_id, row.counterpart, happened_at, by, reason)
        entry = Entry(
            kind=MovementKind.REVERSAL, quantity=-row.quantity, reverses_id=row.pk, **about
        )
        posted.append(repeat_of(entry) or _reverse_one(entry, row, containers))
    return next(p for p in posted if p.container_id == first.container_id)


def _reverse_one(entry: Entry, row: Movement, containers: dict[int, Container]) -> MovementInfo:
    if Movement.objects.filter(reverses=row).exists():
        raise AlreadyReversed(f"The movement {row.key} has been reversed already.", key=row.key)
    container = containers[row.container_id]
    posted = post(entry, container)
    used = UsedReservation.objects.filter(movement=row).first()
    if used is not None:
        set_aside_again(container, used)
    return posted


def _originals(key: str) -> list[Movement]:
    rows = list(Movement.objects.filter(key=key))
    if not rows:
        rows = list(Movement.objects.filter(key__in=[f"{key}:{OUT}", f"{key}:{IN}"]))
    if not rows:
        raise NotFound(f"There is no movement with the key {key}.", key=key)
    if rows[0].kind == MovementKind.TRANSFER and len(rows) == 1:
        stem = rows[0].key.rsplit(":", 1)[0]
        rows += Movement.objects.filter(key__in=[f"{stem}:{OUT}", f"{stem}:{IN}"]).exclude(
            pk=rows[0].pk
        )
    return rows


def _about(
    key: str,
    container_id: int,
    counterpart: str,
    happened_at: datetime,
    by: User | None,
    reason: str,
) -> dict[str, Any]:
    """Return what every kind of movement says: which, where, the other side, when, who, why."""
    return {
        "key": key,
        "container_id": container_id,
        "counterpart": counterpart,
        "happened_at": happened_at,
        "by_id": by.pk if by else None,
        "reason": reason,
    }
