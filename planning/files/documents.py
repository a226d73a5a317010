"""A UBL document that somebody uploads: handed to the very address a program would send it to."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

from planning.files.doors import Doors, Refused
from shared.access.models import Site
from shared.errors import Invalid
from shared.ubl.document import Document, Kind
from shared.ubl.schemas import read_document

TAKEN = (Kind.ORDER, Kind.ORDER_RESPONSE, Kind.DESPATCH_ADVICE)
OWN_NUMBER = re.compile("PO-([1-9][0-9]{0,17})")


@dataclass(frozen=True)
class Taken:
    """What became of a document."""

    words: str
    page: str
    pk: str


def take_document(*, caller: Any, site: Site, data: bytes) -> Taken:
    """
    Take in an Order, or a supplier's OrderResponse or DespatchAdvice, as the same API call does.

    Raises
    ------
    Invalid
        With every fault, by the path of its element.
    """
    document = read_document(data, *TAKEN)
    doors: Any = Doors(caller, site)
    try:
        if document.kind == Kind.ORDER:
            made = doors.post("tool-orders/bulk", _at(document, site))["items"]
            numbers = ", ".join(one["number"] for one in made)
            return Taken(f"{document.id} is taken in as {numbers}.", "order", made[0]["id"])
        action = "confirmations" if document.kind == Kind.ORDER_RESPONSE else "announcements"
        pk = _own_order(document)
        order = doors.post(f"purchase-orders/{pk}/{action}", document)
        return Taken(f"{document.id} is entered at {order['number']}.", "purchase-order", pk)
    except Refused as error:
        raise Invalid(str(error), tuple(error.problems)) from error


def _at(document: Document, site: Site) -> Document:
    """Return an order whose lines say at which site they were uploaded, unless they say so."""
    lines = [
        line if "site" in dict(line.properties)
        else replace(line, properties=(*line.properties, ("site", site.code)))
        for line in document.lines
    ]  # fmt: skip
    return replace(document, lines=tuple(lines))


def _own_order(document: Document) -> str:
    number = OWN_NUMBER.fullmatch(document.order_id)
    if number is None:
        path = f"/{document.kind}/cac:OrderReference/cbc:ID"
        words = f"{path} is {document.order_id!r}; it must name our order, such as PO-17."
        raise Invalid.one(path, "does_not_exist", words, value=document.order_id)
    return number[1]
