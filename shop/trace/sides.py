"""Names for people of what the ledger keeps as the other side of a movement or reservation."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from shop.lots.models import Container
from shop.materials.suppliers import Supplier
from shop.page_forms import row_id
from shop.purchasing.models import PurchaseOrderLine
from shop.trace.providers import uses

PLAIN = {
    "supplier:unknown": "supplier not recorded",
    "waste": "waste",
    "sample": "sample",
    "lost-on-the-way": "lost on the way to another site",
    "count-difference": "difference at a count",
}


@dataclass(frozen=True)
class Side:
    """What to show, and where to look at it; the address is empty where there is nothing more."""

    label: str
    url: str = ""


def sides(counterparts: Iterable[str]) -> dict[str, Side]:
    """
    Return a name for each counterpart; one query a kind, whatever their number.

    What nobody knows keeps the ledger's own words.
    """
    wanted = set(counterparts)
    found = {text: Side(PLAIN.get(text, text.removeprefix("other:"))) for text in wanted}
    for kind, named in (
        ("supplier", _suppliers),
        ("order-line", _order_lines),
        ("container", _containers),
    ):
        keys = {text: key for text in wanted if (key := _key(kind, text)) is not None}
        rows = named(set(keys.values())) if keys else {}
        found |= {text: rows[key] for text, key in keys.items() if key in rows}
    found |= {text: Side(use.label, use.url) for text, use in uses(wanted).items()}
    return found


def purposes(of: Iterable[str]) -> dict[str, Side]:
    """Return a name for what each reservation is for: batch:7:2 is a line of batch:7."""
    stems = {text: ":".join(text.split(":")[:2]) for text in of}
    known = sides(stems.values())
    return {text: known[stem] for text, stem in stems.items()}


def _key(kind: str, text: str) -> int | None:
    head, _, tail = text.partition(":")
    return row_id(tail) if head == kind else None


def _suppliers(keys: set[int]) -> dict[int, Side]:
    return {row.pk: Side(row.name) for row in Supplier.objects.filter(pk__in=keys)}


def _order_lines(keys: set[int]) -> dict[int, Side]:
    rows = PurchaseOrderLine.objects.filter(pk__in=keys).select_related("order__supplier")
    return {row.pk: _of_order(row) for row in rows}


def _of_order(line: PurchaseOrderLine) -> Side:
    order: Any = line.order
    return Side(f"{order.number}, {order.supplier}", reverse("purchase-order", args=[order.pk]))


def _containers(keys: set[int]) -> dict[int, Side]:
    rows = Container.objects.filter(pk__in=keys)
    return {row.pk: Side(row.code, reverse("container", args=[row.pk])) for row in rows}
