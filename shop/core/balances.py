"""Folding the ledger: movements to balances, past moments, counter-movements and the audit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

ZERO = Decimal(0)


@dataclass(frozen=True)
class Movement:
    """One line of the ledger: a signed quantity of a lot, in the material's unit."""

    key: str
    lot: str
    quantity: Decimal
    at: datetime
    reverses: str | None = None
    """Key of the movement this one puts right."""


@dataclass(frozen=True)
class Difference:
    """A place where the ledger and what is derived from it disagree."""

    kind: str
    lot: str
    detail: str


def fold(movements: Iterable[Movement], as_of: datetime | None = None) -> dict[str, Decimal]:
    """
    Sum movements to one balance per lot.

    Parameters
    ----------
    movements : iterable of Movement
        In any order.
    as_of : datetime.datetime, optional
        Count only what happened at or before this moment.

    Returns
    -------
    dict of str to decimal.Decimal
        Balance per lot that has moved; zero balances stay in.
    """
    balances: dict[str, Decimal] = {}
    for movement in movements:
        if as_of is None or movement.at <= as_of:
            balances[movement.lot] = balances.get(movement.lot, ZERO) + movement.quantity
    return balances


def counter(original: Movement, *, key: str, at: datetime) -> Movement:
    """
    Return the movement that undoes another one.

    Parameters
    ----------
    original : Movement
        The mistake; it stays in the ledger.
    key : str
        Unique key of the counter-movement.
    at : datetime.datetime
        Moment of the correction; it may not lie before the mistake.

    Raises
    ------
    ValueError
        If the original is itself a counter-movement (book the right movement instead) or the
        moment lies before it.
    """
    if original.reverses is not None:
        raise ValueError(
            f"movement {original.key} already undoes {original.reverses}; book the right movement"
        )
    if at < original.at:
        raise ValueError(
            f"a correction at {at.isoformat()} lies before the movement it corrects, "
            f"{original.at.isoformat()}"
        )
    return Movement(key, original.lot, -original.quantity, at, reverses=original.key)


def first_below_zero(movements: Iterable[Movement]) -> Movement | None:
    """Return the first movement, by time then ledger order, that takes its lot below zero."""
    running: dict[str, Decimal] = {}
    for movement in sorted(movements, key=lambda m: m.at):
        running[movement.lot] = running.get(movement.lot, ZERO) + movement.quantity
        if running[movement.lot] < 0:
            return movement
    return None


def audit(
    movements: Iterable[Movement], balances: Mapping[str, Decimal]
) -> tuple[Difference, ...]:
    """
    Compare kept balances with the ledger and the ledger with its own rules.

    Parameters
    ----------
    movements : iterable of Movement
        The whole ledger of the lots in question, in ledger order.
    balances : mapping of str to decimal.Decimal
        What is kept beside the ledger; a lot left out counts as zero.

    Returns
    -------
    tuple of Difference
        Empty if all is well. Kinds: ``balance``, ``below zero``, ``duplicate key``,
        ``counter-movement``.
    """
    ledger = list(movements)
    found = _balance_differences(fold(ledger), balances)
    found += _key_differences(ledger) + _counter_differences(ledger)
    by_lot: dict[str, list[Movement]] = {}
    for movement in ledger:
        by_lot.setdefault(movement.lot, []).append(movement)
    for lot, own in by_lot.items():
        low = first_below_zero(own)
        if low is not None:
            found.append(Difference("below zero", lot, f"movement {low.key} takes it below zero"))
    return tuple(found)


def _balance_differences(
    summed: Mapping[str, Decimal], kept: Mapping[str, Decimal]
) -> list[Difference]:
    return [
        Difference("balance", lot, f"kept {kept.get(lot, ZERO)}, ledger {summed.get(lot, ZERO)}")
        for lot in sorted(summed.keys() | kept.keys())
        if summed.get(lot, ZERO) != kept.get(lot, ZERO)
    ]


def _key_differences(ledger: Iterable[Movement]) -> list[Difference]:
    seen: set[str] = set()
    found = []
    for movement in ledger:
        if movement.key in seen:
            found.append(Difference("duplicate key", movement.lot, f"key {movement.key} twice"))
        seen.add(movement.key)
    return found


def _counter_differences(ledger: Iterable[Movement]) -> list[Difference]:
    moves = list(ledger)
    by_key = {m.key: m for m in moves}
    undone: dict[str, str] = {}
    found = []
    for m in moves:
        if m.reverses is None:
            continue
        original = by_key.get(m.reverses)
        if original is None:
            fault = f"{m.key} undoes {m.reverses}, which is not in the ledger"
        elif (original.lot, -original.quantity) != (m.lot, m.quantity):
            fault = f"{m.key} does not undo {original.key}: {m.quantity} of {m.lot}"
        elif m.reverses in undone:
            fault = f"{m.reverses} is undone twice, by {undone[m.reverses]} and {m.key}"
        else:
            undone[m.reverses] = m.key
            continue
        found.append(Difference("counter-movement", m.lot, fault))
    return found
