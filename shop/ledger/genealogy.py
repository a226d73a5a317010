"""Which lots are in which: what the ledger's moves from can to can say of mixed lots."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from django.db.models import QuerySet

from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Container


def _moves(lot_ids: set[int]) -> QuerySet[Movement]:
    rows = Movement.objects.filter(kind=MovementKind.TRANSFER, reversed_by=None)
    return rows.filter(container__lot__in=lot_ids).order_by()


def _other_lots(moves: QuerySet[Movement]) -> set[int]:
    sides = moves.values_list("counterpart", flat=True).distinct()
    ids = {int(side.removeprefix("container:")) for side in sides}
    return set(Container.objects.filter(pk__in=ids).values_list("lot", flat=True))


def _all(lot_ids: Iterable[int], step: Callable[[set[int]], set[int]]) -> set[int]:
    known, fresh = set(lot_ids), set(lot_ids)
    while fresh:
        fresh = step(fresh) - known
        known |= fresh
    return known


def with_descendants(lot_ids: Iterable[int]) -> set[int]:
    """Return the lots and every lot that got some of them; two queries a generation."""
    return _all(lot_ids, lambda ids: _other_lots(_moves(ids).filter(quantity__lt=0)))


def with_ancestors(lot_ids: Iterable[int]) -> set[int]:
    """Return the lots and every lot that is in them; two queries a generation."""
    return _all(lot_ids, lambda ids: _other_lots(_moves(ids).filter(quantity__gt=0)))
