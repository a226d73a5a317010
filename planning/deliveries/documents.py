"""Delivery notes as UBL documents."""

from __future__ import annotations

from decimal import Decimal

from planning.deliveries.models import DeliveryKind, DeliveryLine, DeliveryNote
from shared import clock
from shared.errors import ShopError
from shared.ubl.document import Document, Kind, Line, Quantity


def despatch_document(note: DeliveryNote) -> Document:
    """
    Return a delivery note as a DespatchAdvice; each casting is a line of one piece.

    Raises
    ------
    ShopError
        If the note takes a delivery back, or lists nothing: that is no despatch.
    """
    lines = list(note.lines.all())
    if note.kind != DeliveryKind.SENT or not lines:
        what = f"takes {note.takes_back} back" if note.takes_back else "lists no casting"
        raise ShopError(f"{note} {what}; only what was sent is advised.", code="no_despatch")
    orders = {_order_id(line) for line in lines}
    return Document(
        kind=Kind.DESPATCH_ADVICE,
        id=note.number,
        issued_on=clock.local(note.at, note.site).date(),
        note=note.remarks,
        order_id=orders.pop() if len(orders) == 1 else "",
        seller=note.site.legal_name or note.site.name,
        seller_address=note.site.address,
        buyer=note.recipient,
        deliver_to=note.address,
        shipment=note.number,
        packages=None if note.packages is None else Quantity(Decimal(note.packages), "C62"),
        tracking=note.carrier_reference,
        carrier=note.carrier,
        lines=tuple(_line(n, line) for n, line in enumerate(lines, 1)),
    )


def _order_id(line: DeliveryLine) -> str:
    """Return the customer's number of the order, without that of the line in it."""
    order = line.pour.order
    named, _, number = order.customer_reference.rpartition("/")
    return named if named and number else order.customer_reference or order.number


def _line(n: int, line: DeliveryLine) -> Line:
    order = line.pour.order
    named, _, number = order.customer_reference.rpartition("/")
    return Line(
        id=str(n),
        quantity=Quantity(Decimal(1), "H87"),
        order_line=number if named and number else "1",
        order_id=_order_id(line),
        name=f"{order.tool.name}, half {line.pour.half}",
        buyers_item=order.tool.code,
        sellers_item=f"{order.number} {line.pour.half}",
    )
