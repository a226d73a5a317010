"""Comparing what is kept beside the ledger with the ledger, and reservations with plans."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from decimal import Decimal

from django.db.models import F, OuterRef, Q, Subquery, Sum, Value, Window
from django.db.models.functions import Coalesce

from shop.ledger.models import Movement, MovementKind, Reservation
from shop.ledger.posting import STEP
from shop.ledger.purposes import open_purposes
from shop.lots.models import Container
from shop.sums import NUMBER, exact_sum

ZERO = Decimal(0)
HALF_STEP = STEP / 2
"""A running sum less than this below zero is binary drift of SQLite, not a balance below zero."""


@dataclass(frozen=True)
class Difference:
    """A place where two records that must agree do not."""

    kind: str
    where: str
    words: str
    lot_id: int | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the members, for JSON."""
        return asdict(self)


def differences() -> list[Difference]:
    """Return every difference; an empty list is the promise kept. Six queries at any size."""
    return [
        *_balances(),
        *_ever_below_zero(),
        *_below_zero_in_the_past(),
        *_reversals(),
        *_transfers(),
        *_purposes(),
    ]


def _total(model: type, field: str = "quantity") -> Coalesce:
    rows = model._default_manager.filter(container=OuterRef("pk")).order_by()
    summed = rows.values("container").annotate(total=exact_sum(field)).values("total")
    return Coalesce(Subquery(summed, output_field=NUMBER), Value(ZERO), output_field=NUMBER)


def _balances() -> Iterator[Difference]:
    rows = Container.objects.annotate(ledger=_total(Movement), promised=_total(Reservation))
    wrong = rows.exclude(balance=F("ledger"), reserved=F("promised")).select_related("lot")
    for row in wrong.order_by("pk"):
        where = f"container {row.code}, lot {row.lot.code}"
        if row.balance != row.ledger:
            words = f"balance is {row.balance}, the ledger's movements sum to {row.ledger}"
            yield Difference("balance", where, words, row.lot_id)
        if row.reserved != row.promised:
            words = f"reserved is {row.reserved}, the reservations sum to {row.promised}"
            yield Difference("reserved", where, words, row.lot_id)


def _ever_below_zero() -> Iterator[Difference]:
    running = Window(Sum("quantity"), partition_by=F("container"), order_by=F("id").asc())
    rows = Movement.objects.annotate(running=running).filter(running__lte=-HALF_STEP)
    for row in rows.select_related("container__lot").order_by("pk"):
        where = f"container {row.container.code}, lot {row.container.lot.code}"
        words = f"movement {row.key} takes it to {row.running}"
        yield Difference("below zero", where, words, row.container.lot_id)


def _below_zero_in_the_past() -> Iterator[Difference]:
    """
    Name where the times entered say that more was taken out than had come in by then.

    What undid a movement counts at its time. Movements of one moment are taken together. Stock
    agrees now, so no lot is named to be held: a time or a can was entered wrong.
    """
    at = Coalesce("reverses__happened_at", "happened_at")
    running = Window(Sum("quantity"), partition_by=F("container"), order_by=F("taken_at").asc())
    rows = Movement.objects.annotate(taken_at=at).annotate(running=running)
    # Only the sum is asked of the database: other conditions would narrow what is summed.
    dips = rows.filter(running__lte=-HALF_STEP).select_related("container__lot", "reversed_by")
    for row in dips.order_by("pk"):
        if row.quantity > 0 or row.reverses_id or hasattr(row, "reversed_by"):
            continue
        where = f"container {row.container.code}, lot {row.container.lot.code}"
        words = f"by the times entered, movement {row.key} took it to {round(row.running, 4)}"
        yield Difference("below zero in the past", where, words)


def _reversals() -> Iterator[Difference]:
    rows = Movement.objects.filter(reverses__isnull=False).exclude(
        container=F("reverses__container"), quantity=-F("reverses__quantity")
    )
    for row in rows.select_related("container__lot", "reverses").order_by("pk"):
        words = f"{row.key} does not undo {row.reverses.key}: {row.quantity}"  # type: ignore[union-attr]
        yield Difference("reversal", f"movement {row.key}", words, row.container.lot_id)


def _transfers() -> Iterator[Difference]:
    """Transfers move between the shop's own containers: between any two they sum to zero."""
    kind = Q(kind=MovementKind.TRANSFER) | Q(reverses__kind=MovementKind.TRANSFER)
    sums = Movement.objects.filter(kind).order_by().values_list("container", "counterpart")
    pairs: dict[frozenset[str], Decimal] = defaultdict(lambda: ZERO)
    for container, other, total in sums.annotate(total=exact_sum("quantity")):
        pairs[frozenset((f"container:{container}", other))] += total
    wrong = {pair: total for pair, total in pairs.items() if total}
    names = Container.objects.in_bulk(
        {int(side.removeprefix("container:")) for pair in wrong for side in pair}
    )
    for pair, total in sorted(wrong.items(), key=lambda item: sorted(item[0])):
        ends = [names[int(side.removeprefix("container:"))] for side in sorted(pair)]
        where = " and ".join(f"container {row.code}" for row in ends)
        words = f"transfers between them sum to {total}, not 0"
        yield Difference("transfer", where, words, ends[0].lot_id)


def _purposes() -> Iterator[Difference]:
    answered, wanted = open_purposes()
    sums = (
        Reservation.objects.order_by().values_list("purpose").annotate(total=exact_sum("quantity"))
    )
    held = dict(sums)
    for purpose, quantity in sorted(held.items()):
        if purpose.startswith(answered) and purpose not in wanted:
            words = f"{quantity.normalize():f} is set aside, and nothing planned wants it"
            yield Difference("purpose", purpose, words)
    for purpose, quantity in sorted(wanted.items()):
        if held.get(purpose, ZERO) != quantity:
            there = held.get(purpose, ZERO).normalize()
            words = f"{quantity.normalize():f} is wanted by the plan, {there:f} is set aside"
            yield Difference("purpose", purpose, words)
