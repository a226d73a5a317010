"""Time-phased net requirements: what must be ordered when, period by period."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Rule = Literal["lot for lot", "multiple", "minimum"]


@dataclass(frozen=True)
class NetRecord:
    """
    One item's record, each field one figure a period.

    `past_due` names what should have been released before the first period: the period it is
    needed in (counted from 1) and the quantity. It is a late order, never a silent shortage.
    """

    net: tuple[float, ...]
    receipts: tuple[float, ...]
    releases: tuple[float, ...]
    projected: tuple[float, ...]
    past_due: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class Item:
    """How one item is stocked and ordered."""

    on_hand: float = 0.0
    lead_time: int = 0
    rule: Rule = "lot for lot"
    size: float = 0.0
    safety_stock: float = 0.0
    scheduled: tuple[float, ...] = ()


def order_size(need: float, rule: Rule, size: float) -> float:
    """Round a need up to what can be ordered."""
    if need <= 0:
        return 0.0
    if rule == "multiple":
        return math.ceil(need / size - 1e-9) * size
    return max(need, size) if rule == "minimum" else need


def net_requirements(gross: Sequence[float], item: Item) -> NetRecord:
    """
    Net gross requirements against stock and receipts, and plan the orders.

    Parameters
    ----------
    gross : sequence of float, shape (n,)
        Requirement of each period, in the item's unit.
    item : Item
        Stock at the start, receipts already ordered, lead time in periods, order rule.

    Returns
    -------
    NetRecord
        All sequences of length n. `projected` is stock at the end of each period with the
        planned receipts in it, and never below the safety stock.

    Raises
    ------
    ValueError
        If a requirement is negative or an order size is missing.

    Notes
    -----
    The standard inventory record of operations-management textbooks.
    """
    if any(g < 0 for g in gross):
        raise ValueError(f"gross requirements {list(gross)} must be 0 or more")
    if item.rule == "multiple" and item.size <= 0:
        raise ValueError(f"order multiple is {item.size}; it must be above 0")
    n = len(gross)
    due = [*item.scheduled, *[0.0] * n][:n]
    net, receipts, projected = [0.0] * n, [0.0] * n, [0.0] * n
    stock = item.on_hand
    for t in range(n):
        stock += due[t] - gross[t]
        net[t] = max(0.0, item.safety_stock - stock)
        receipts[t] = order_size(net[t], item.rule, item.size)
        stock += receipts[t]
        projected[t] = stock
    releases = [0.0] * n
    past_due = []
    for t, quantity in enumerate(receipts):
        if quantity and t < item.lead_time:
            past_due.append((t + 1, quantity))
        elif quantity:
            releases[t - item.lead_time] += quantity
    return NetRecord(
        tuple(net), tuple(receipts), tuple(releases), tuple(projected), tuple(past_due)
    )


def explode(
    items: Mapping[str, Item],
    parts: Mapping[str, Mapping[str, float]],
    gross: Mapping[str, Sequence[float]],
) -> dict[str, NetRecord]:
    """
    Net a parent's orders down to what it is made of, such as a kit to resin and hardener.

    Parameters
    ----------
    items : mapping of str to Item
        Every item that takes part.
    parts : mapping of str to mapping of str to float
        Quantity of each part in one unit of its parent.
    gross : mapping of str to sequence of float
        Outside requirements of any item, all of one length.

    Returns
    -------
    dict of str to NetRecord
        A part is needed when its parent is released; a parent's late order is needed in the
        first period.

    Raises
    ------
    ValueError
        If an item is part of itself.
    """
    n = max(len(g) for g in gross.values())
    need = {name: [*gross.get(name, ()), *[0.0] * n][:n] for name in items}
    waiting = set(items)
    records: dict[str, NetRecord] = {}
    while waiting:
        ready = [i for i in sorted(waiting) if not any(i in parts.get(p, ()) for p in waiting)]
        if not ready:
            raise ValueError(f"items {sorted(waiting)} are parts of one another")
        for name in ready:
            records[name] = record = net_requirements(need[name], items[name])
            for part, per_unit in parts.get(name, {}).items():
                for t, quantity in enumerate(record.releases):
                    need[part][t] += quantity * per_unit
                need[part][0] += sum(q for _, q in record.past_due) * per_unit
            waiting.remove(name)
    return records
