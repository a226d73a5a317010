"""Writes: send castings with a delivery note, and take such a delivery back by a further one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from planning.deliveries.models import DeliveryKind, DeliveryLine, DeliveryNote
from planning.deliveries.queries import last_to, still_out, why_not
from planning.order_events.actions import add_event
from planning.pours.models import Pour, PourStatus
from shared.access.models import Site
from shared.change import change
from shared.errors import Invalid, ShopError
from shared.events.kinds import EventKind
from shared.retry import retried
from shared.times import happened

MOST_CASTINGS = 100


class NotReady(ShopError):
    """A casting that may not leave the shop."""


@retried
def send(
    *,
    site: Site,
    pours: Sequence[Pour],
    key: str,
    now: datetime,
    at: datetime | None = None,
    recipient: str = "",
    address: str = "",
    carrier: str = "",
    carrier_reference: str = "",
    packages: int | None = None,
    remarks: str = "",
    by: Any = None,
) -> DeliveryNote:
    """
    Send castings that stand ready to one address; all of them go, or none.

    A repeat of the key returns the first note. Recipient and address are the customer's and those
    of the last delivery to them where they are left empty.

    Raises
    ------
    NotReady
        With every casting that may not go and all that keeps it.
    Invalid
        If a casting stands twice, is another site's, or they are of different customers.
    """
    asked = [pour.pk for pour in pours]
    found = DeliveryNote.objects.filter(key=key).first()
    if found is not None:
        return _same(found, asked)
    _check_list(asked)
    castings = _locked(asked)
    customer = _customer(site, castings)
    _refuse_unready(castings)
    recipient, address = _whereto(site, recipient.strip() or customer, address.strip())
    taken_off = [(f"{pour} was taken off", _taken_off(pour)) for pour in castings]
    note = DeliveryNote.objects.create(
        site=site,
        key=key,
        at=happened(at, now=now, after=taken_off, site=site),
        recorded_at=now,
        by=by,
        recipient=recipient,
        address=address,
        carrier=carrier,
        carrier_reference=carrier_reference,
        packages=packages,
        remarks=remarks,
    )
    _add_lines(note, castings, 1, {})
    _tell(note, castings, EventKind.SHIPPED)
    return note


@retried
def take_back(
    *,
    note: DeliveryNote,
    reason: str,
    key: str,
    now: datetime,
    pours: Sequence[Pour] | None = None,
    at: datetime | None = None,
    by: Any = None,
) -> DeliveryNote:
    """
    Take castings of a delivery back, all that are still away unless some are named.

    They may be sent again. A repeat of the key returns the first answer.

    Raises
    ------
    ShopError
        If nothing of the note is away, or a casting named is not.
    """
    found = DeliveryNote.objects.filter(key=key).first()
    if found is not None:
        return _same(found, None if pours is None else [pour.pk for pour in pours])
    words = reason.strip()
    if not words:
        raise Invalid.one("reason", "required", "reason is empty; say why it is taken back.")
    if pours is not None:
        _check_list([pour.pk for pour in pours])
    _locked(note.lines.values_list("pour", flat=True))
    away = {line.pour_id: line for line in still_out(note)}
    named = list(away) if pours is None else [pour.pk for pour in pours]
    others = [str(pour) for pour in pours or () if pour.pk not in away]
    if others or not named:
        which = f"{', '.join(others)} is not" if others else "Nothing is"
        raise ShopError(
            f"{which} away with {note}: it was never on it, or came back.", code="not_away"
        )
    castings = [away[pk].pour for pk in named]
    back = DeliveryNote.objects.create(
        site=note.site,
        key=key,
        kind=DeliveryKind.RETURNED,
        takes_back=note,
        at=happened(at, now=now, after=[(f"{note} was sent", note.at)], site=note.site),
        recorded_at=now,
        by=by,
        recipient=note.recipient,
        address=note.address,
        reason=words[:200],
    )
    _add_lines(back, castings, -1, away)
    _tell(back, castings, EventKind.SHIPMENT_BACK)
    return back


def _same(found: DeliveryNote, asked: Sequence[int] | None) -> DeliveryNote:
    """Return the note of a key used before, if the same castings are asked for."""
    if asked is not None and set(found.lines.values_list("pour", flat=True)) != set(asked):
        raise ShopError(
            f"This reference belongs to {found}, which lists other castings; give another.",
            code="key_reused",
        )
    return found


def _check_list(asked: Sequence[int]) -> None:
    if not asked:
        raise Invalid.one("pours", "empty", "pours is empty; name at least one casting.")
    if len(asked) > MOST_CASTINGS:
        raise Invalid.one(
            "pours", "too_many",
            f"pours names {len(asked)} castings; at most {MOST_CASTINGS} go on one note.",
            value=len(asked), limit=MOST_CASTINGS,
        )  # fmt: skip
    for n, key in enumerate(asked):
        if key in asked[:n]:
            raise Invalid.one(
                f"pours/{n}", "repeated", "pours names a casting twice; name it once.", value=key
            )


def _locked(keys: Iterable[int]) -> list[Pour]:
    """Return castings under lock, always in the same order."""
    rows = Pour.objects.select_for_update(of=("self",)).filter(pk__in=list(keys))
    return list(rows.select_related("order__site", "order__tool", "demould").order_by("pk"))


def _customer(site: Site, castings: list[Pour]) -> str:
    """Return for whom castings are, which may be nobody named; refuse those of several."""
    if any(pour.order.site_id != site.pk for pour in castings):
        raise Invalid.one(
            "pours", "other_site", f"pours names a casting that was not cast at {site}."
        )
    customers = sorted({pour.order.customer for pour in castings})
    if len(customers) > 1:
        names = ", ".join(name or "nobody named" for name in customers)
        raise Invalid.one(
            "pours", "other_customer",
            f"pours names castings for {names}; write a note for each of them.",
        )  # fmt: skip
    return customers[0]


def _whereto(site: Site, recipient: str, address: str) -> tuple[str, str]:
    """Return to whom and where castings go."""
    if not recipient:
        raise Invalid.one(
            "recipient", "required",
            "recipient is empty, and the order names no customer; say to whom it goes.",
        )  # fmt: skip
    before = None if address else last_to(site.pk, recipient)
    address = address or (before.address if before else "")
    if not address:
        raise Invalid.one(
            "address", "required",
            f"address is empty, and nothing was sent to {recipient} before; say where it goes.",
        )  # fmt: skip
    return recipient, address


def _refuse_unready(castings: list[Pour]) -> None:
    bad = [f"{pour}: {', and '.join(why)}." for pour in castings if (why := why_not(pour))]
    if bad:
        raise NotReady(" ".join(bad), code="casting_not_ready")


def _taken_off(pour: Pour) -> datetime:
    moment: datetime = pour.demould.at
    return moment


def _add_lines(
    note: DeliveryNote, castings: list[Pour], quantity: int, away: dict[int, DeliveryLine]
) -> None:
    for pour in castings:
        DeliveryLine.objects.create(
            note=note,
            pour=pour,
            turn=1 + DeliveryLine.objects.filter(pour=pour).count(),
            quantity=quantity,
            takes_back=away.get(pour.pk),
        )
        change(pour, sent=quantity > 0)


def _tell(note: DeliveryNote, castings: list[Pour], kind: EventKind) -> None:
    """Tell each order what of it left or came back, and whether all of it is away now."""
    orders = {pour.order_id: pour.order for pour in castings}
    for pk, order in sorted(orders.items()):
        change(order)  # its answer names its delivery notes
        made = order.pours.exclude(status__in=[PourStatus.CANCELLED, PourStatus.FAILED])
        add_event(
            order=order,
            kind=kind,
            at=note.at,
            facts={
                "tool": order.tool.code,
                "delivery_note": str(note.pk),
                "delivery_note_number": note.number,
            },
            new={
                "halves": sorted(pour.half for pour in castings if pour.order_id == pk),
                "all_sent": not made.filter(sent=False).exists(),
                "recipient": note.recipient,
                "carrier": note.carrier,
                "carrier_reference": note.carrier_reference,
            },
            reason=note.reason,
            by=note.by,
        )
