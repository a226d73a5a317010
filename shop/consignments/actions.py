"""Sending goods to another site, receiving them, and taking back what is still on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from shared import clock
from shared.access.models import Site, User
from shared.change import change
from shared.errors import Invalid
from shared.retry import retried
from shop.consignments.lots import lot_at
from shop.consignments.models import Arrival, Consignment, ConsignmentLine, ConsignmentStatus
from shop.errors import KeyReused, Refused
from shop.ledger import actions as ledger
from shop.ledger.actions import IN, OUT
from shop.ledger.models import Movement, MovementKind
from shop.ledger.opening import opened
from shop.ledger.posting import CONSIGNMENT, Entry, exact, locked, post
from shop.lots.actions import place
from shop.lots.labels import new_container
from shop.lots.models import Container
from shop.sites.models import Location

LOST = "lost-on-the-way"
MOST_LINES = 50
MOST_DAYS = 365
"""Nothing is on its way longer: more is a slip of the keyboard. Chosen here, no source."""


class ConsignmentEnded(Refused):
    """Nothing of the consignment is on the way any more."""

    own_code = "consignment_ended"


@dataclass(frozen=True)
class Came:
    """What has come of one line, and where it is put."""

    line: ConsignmentLine
    quantity: Decimal
    location: Location | None = None


@retried
def send(
    *,
    site: Site,
    to_site: Site,
    goods: Sequence[tuple[Container, Decimal]],
    key: str,
    by: User | None = None,
    words: str = "",
    due_on: date | None = None,
) -> Consignment:
    """
    Send goods off; they are on the way until the other site receives them or they are taken back.

    Only what nothing is reserved from can be sent. A repeat of the key returns the first.

    Raises
    ------
    Invalid
        By field: the same site, no goods, a container twice, of another site or on the way, or
        a day they are expected that is past.
    NotEnoughStock
        If a container holds less that is free.
    """
    earlier = Consignment.objects.filter(key=key).first()
    if earlier is not None:
        if (earlier.site_id, earlier.to_site_id) != (site.pk, to_site.pk):
            raise KeyReused(f"The key {key} was used for another consignment.", key=key)
        return earlier
    _refuse_unfit(site, to_site, goods)
    _refuse_past(due_on, to_site)
    now = clock.now()
    made = Consignment.objects.create(
        site=site, to_site=to_site, key=key, sent_at=now, sent_by=by, words=words,
        due_on=due_on,
    )  # fmt: skip
    for n, (source, quantity) in enumerate(goods):
        lot = locked([source.pk])[source.pk].lot
        transit = new_container(lot, plain=False)
        transit.consignment = made
        transit.save(update_fields=["consignment"])
        ledger.transfer(
            from_container_id=source.pk, to_container_id=transit.pk, quantity=quantity,
            key=f"{CONSIGNMENT}{made.pk}:{n}", happened_at=now, by=by, reason=str(made),
        )  # fmt: skip
        ConsignmentLine.objects.create(
            consignment=made, source=source, transit=transit, quantity=quantity
        )
    Arrival.objects.create(site=to_site, consignment=made)
    return made


def _refuse_unfit(site: Site, to_site: Site, goods: Sequence[tuple[Container, Decimal]]) -> None:
    if site.pk == to_site.pk:
        words = f"to_site is {to_site.code}, where the goods are; name another site."
        raise Invalid.one("to_site", "same_site", words, value=to_site.code)
    if not 1 <= len(goods) <= MOST_LINES:
        words = f"goods has {len(goods)} lines; give 1 to {MOST_LINES}."
        raise Invalid.one("goods", "count", words, value=len(goods), limit=MOST_LINES)
    seen: set[int] = set()
    for n, (source, quantity) in enumerate(goods):
        where = f"goods/{n}"
        exact(quantity, field=f"{where}/quantity")
        if source.lot.site_id != site.pk:
            words = f"container is {source.code}; it stands at another site."
            raise Invalid.one(f"{where}/container", "other_site", words, value=source.code)
        if source.pk in seen:
            words = f"container {source.code} stands twice; give the sum once."
            raise Invalid.one(f"{where}/container", "twice", words, value=source.code)
        seen.add(source.pk)


def _refuse_past(due_on: date | None, to_site: Site) -> None:
    today = clock.today(to_site)
    last = today + timedelta(days=MOST_DAYS)
    if due_on is not None and not today <= due_on <= last:
        words = (
            f"due_on is {due_on}; give a day from {today} to {last}, or leave it empty for "
            "the day after sending."
        )
        raise Invalid.one("due_on", "out_of_range", words, value=due_on, limit=today)


@retried
def receive(
    *,
    arrival: Arrival,
    came: Sequence[Came],
    key: str,
    by: User | None = None,
    short: bool = False,
    words: str = "",
) -> Consignment:
    """
    Take in what has come; with `short` the remainder is not waited for any more, and is lost.

    Shelf life, open life and the state of the lots go along. A repeat of the key changes nothing.

    Raises
    ------
    Invalid
        By field: more came than was sent, a line of another consignment, or short without words.
    """
    found = _locked(arrival.consignment_id)
    stem = f"{CONSIGNMENT}{found.pk}:{key}"
    if Movement.objects.filter(key__startswith=f"{stem}:").exists():
        return found
    _refuse_ended(found)
    if not came and not short:
        words = "lines is empty; say what has come, or that nothing more is waited for."
        raise Invalid.one("lines", "empty", words)
    if short and not words:
        raise Invalid.one("words", "required", "words is empty; say why it is short.")
    now = clock.now()
    for n, one in enumerate(came):
        _take_in(found, one, n, f"{stem}:{n}", now, by)
    if short:
        for line in found.lines.select_related("transit__lot__site", "transit__lot__material"):
            _write_off(line, f"{stem}:lost:{line.pk}", now, by)
    change(arrival, received_at=now, received_by=by, words=words)
    return _settled(found, now)


def _take_in(
    found: Consignment, one: Came, n: int, key: str, at: datetime, by: User | None
) -> None:
    quantity = exact(one.quantity, field=f"lines/{n}/quantity")
    if one.line.consignment_id != found.pk:
        words = f"line {one.line.pk} is not of {found}."
        raise Invalid.one(f"lines/{n}/line", "does_not_exist", words, value=one.line.pk)
    if one.location is not None and one.location.site_id != found.to_site_id:
        words = f"location is {one.location}; it is at another site."
        raise Invalid.one(f"lines/{n}/location", "other_site", words)
    transit = locked([one.line.transit_id])[one.line.transit_id]
    if quantity > transit.balance:
        words = (
            f"quantity is {quantity.normalize():f}; {transit.balance.normalize():f} "
            f"{transit.lot.material.unit} of it is on the way. More cannot have come of it."
        )
        raise Invalid.one(
            f"lines/{n}/quantity", "too_much", words, value=quantity, limit=transit.balance
        )
    lot = lot_at(found.to_site, transit.lot, quantity)
    target = locked([new_container(lot, plain=False).pk]).popitem()[1]
    for side, own, other, signed in (
        (OUT, transit, target, -quantity), (IN, target, transit, quantity),
    ):  # fmt: skip
        entry = Entry(
            key=f"{key}:{side}", container_id=own.pk, kind=MovementKind.TRANSFER, quantity=signed,
            counterpart=f"container:{other.pk}", happened_at=at, by_id=by.pk if by else None,
            reason=str(found),
        )  # fmt: skip
        post(entry, own)
    if transit.opened_at:
        opened([target.pk], transit.opened_at)
    if one.location is not None:
        place(target.pk, location=one.location, at=at, by=by)


def _write_off(line: ConsignmentLine, key: str, at: datetime, by: User | None) -> None:
    transit = locked([line.transit_id])[line.transit_id]
    if transit.balance <= 0:
        return
    lost = transit.balance
    post(
        Entry(
            key=key, container_id=transit.pk, kind=MovementKind.COUNT, quantity=-lost,
            counterpart=LOST, happened_at=at, by_id=by.pk if by else None, reason="not received",
        ),
        transit,
    )  # fmt: skip
    line.lost += lost
    line.save(update_fields=["lost"])


@retried
def take_back(*, consignment: Consignment, by: User | None = None) -> Consignment:
    """Put what is still on the way back into the containers that it came from."""
    found = _locked(consignment.pk)
    _refuse_ended(found)
    now = clock.now()
    for line in found.lines.select_related("transit"):
        if line.transit.balance > 0:
            ledger.transfer(
                from_container_id=line.transit_id, to_container_id=line.source_id,
                quantity=line.transit.balance, key=f"{CONSIGNMENT}{found.pk}:back:{line.pk}",
                happened_at=now, by=by, reason=f"{found}, taken back",
            )  # fmt: skip
    return change(found, status=ConsignmentStatus.RETURNED, ended_at=now)


def _locked(pk: int) -> Consignment:
    rows = Consignment.objects.select_for_update(of=("self",)).select_related("site", "to_site")
    return rows.get(pk=pk)


def _refuse_ended(found: Consignment) -> None:
    if found.status != ConsignmentStatus.SENT:
        raise ConsignmentEnded(
            f"{found} is {found.get_status_display().lower()}; nothing of it is on the way.",
            consignment=str(found),
        )


def _settled(found: Consignment, now: datetime) -> Consignment:
    lines = list(found.lines.select_related("transit"))
    if any(line.transit.balance > 0 for line in lines):
        return found
    lost = any(line.lost > 0 for line in lines)
    status = ConsignmentStatus.SHORT if lost else ConsignmentStatus.RECEIVED
    return change(found, status=status, ended_at=now)
