"""Purchase orders as UBL documents, and suppliers' documents as bodies of the API's calls."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from shared import clock
from shared.errors import FieldProblem, Invalid
from shared.ubl.codes import CURRENCIES, HOUSE, in_unit
from shared.ubl.document import LINE_PATHS, Document, Kind, Line, Money, Quantity
from shop.ledger.models import Movement
from shop.purchasing import queries
from shop.purchasing.errors import OrderState
from shop.purchasing.models import COMING, OrderStatus, PurchaseOrder, PurchaseOrderLine

OUT = (*COMING[1:], OrderStatus.RECEIVED, OrderStatus.CLOSED)
COUNTED = ("H87", "C62", "EA", "KT", "XDR", "XBX")
"""Codes of packs, where a material is not counted in pieces itself."""
REJECTED = "RE"
"""Of a whole order: UN/EDIFACT 4343, from memory."""
LINE_REJECTED = ("7", "Cancelled")
"""Of a line: UN/EDIFACT 1229 and the list of UBL 2.1, from memory."""


def order_document(order: PurchaseOrder) -> Document:
    """
    Return a purchase order as an Order for its supplier, prices included.

    Raises
    ------
    OrderState
        If it is not ordered yet: such a document would pass for an order.
    Invalid
        If its currency is none of ISO 4217.
    """
    if order.status not in OUT:
        raise OrderState(
            f"{order} is {order.get_status_display().lower()}; order it first.", order=str(order)
        )
    if order.currency not in CURRENCIES:
        raise Invalid.one(
            "currency", "unknown_currency",
            f"currency is {order.currency!r}, which is no code of ISO 4217; put it right at "
            f"{order.supplier}.", value=order.currency,
        )  # fmt: skip
    site, supplier = order.site, order.supplier
    total = queries.goods_cost(order)
    return Document(
        kind=Kind.ORDER,
        id=order.number,
        issued_on=clock.local(order.ordered_at or order.created_at, site).date(),
        note=order.remarks,
        currency=order.currency,
        buyer_id=supplier.our_account,
        buyer=site.legal_name or site.name,
        buyer_address=site.address,
        seller_id=supplier.code,
        seller=supplier.name,
        seller_address=supplier.address,
        deliver_to=site.delivery_address or site.address,
        total=None if total is None else Money(total, order.currency),
        lines=tuple(_ordered(line) for line in _lines(order)),
    )


def _lines(order: PurchaseOrder) -> Iterable[PurchaseOrderLine]:
    return order.lines.select_related("material", "order__supplier").order_by("id")


def _ordered(line: PurchaseOrderLine) -> Line:
    unit, currency = HOUSE[line.material.unit], line.order.currency
    life = line.life_asked
    price = line.pack_price
    return Line(
        id=str(line.pk),
        note="" if life is None else f"At least {life} days of shelf life left on arrival.",
        quantity=Quantity(line.quantity, unit),
        amount=None if line.cost is None else Money(line.cost, currency),
        wanted_on=line.expected_on,
        price=None if price is None else Money(price, currency),
        price_per=None if price is None else Quantity(line.content, unit),
        packs=Quantity(Decimal(line.packs), "H87"),
        pack_size=line.content,
        name=f"{line.material.name}, {line.pack_name}",
        buyers_item=line.material.code,
        sellers_item=line.supplier_item,
    )


def receipt_document(order: PurchaseOrder) -> Document:
    """
    Return what came in of an order as a ReceiptAdvice, a line for each lot of each of its lines.

    Raises
    ------
    OrderState
        If nothing of it came in.
    """
    lines = list(_lines(order))
    by_counterpart = {line.counterpart: line for line in lines}
    moves = Movement.objects.filter(counterpart__in=by_counterpart)
    came: dict[tuple[int, int], tuple[PurchaseOrderLine, Any, Decimal, date]] = {}
    for move in moves.select_related("container__lot").order_by("pk"):
        line, lot = by_counterpart[move.counterpart], move.container.lot
        _, _, before, since = came.get(
            (line.pk, lot.pk),
            (line, lot, Decimal(0), clock.local(move.happened_at, order.site).date()),
        )
        came[line.pk, lot.pk] = (line, lot, before + move.quantity, since)
    rows = [row for row in came.values() if row[2] > 0]
    if not rows:
        raise OrderState(f"Nothing came in of {order} yet.", order=str(order))
    return Document(
        kind=Kind.RECEIPT_ADVICE,
        id=f"{order.number}-GRN",
        issued_on=max(row[3] for row in rows),
        order_id=order.number,
        buyer=order.site.legal_name or order.site.name,
        buyer_id=order.supplier.our_account,
        seller=order.supplier.name,
        seller_id=order.supplier.code,
        lines=tuple(_received(n, order, *row) for n, row in enumerate(rows, 1)),
    )


def _received(
    n: int, order: PurchaseOrder, line: PurchaseOrderLine, lot: Any, much: Decimal, day: date
) -> Line:
    return Line(
        id=str(n),
        quantity=Quantity(much, HOUSE[line.material.unit]),
        received_on=day,
        order_line=str(line.pk),
        order_id=order.number,
        name=line.material.name,
        buyers_item=line.material.code,
        sellers_item=line.supplier_item,
        made_on=lot.made_on,
        lot=lot.code,
        expires_on=lot.expires_on,
    )


def confirmation_body(document: Document, order: PurchaseOrder) -> dict[str, Any]:
    """
    Return a supplier's OrderResponse as the body of a confirmation.

    Raises
    ------
    Invalid
        By the path of the element: it answers another order, names no line of it, or counts
        what is no whole number of packs.
    """
    found = _Lines(document, order)
    if document.response == REJECTED:
        found.refuse("/OrderResponse/cbc:OrderResponseCode", "rejected", document.response,
                     "the supplier rejects the order; close it with the reason")  # fmt: skip

    def answer(place: str, line: PurchaseOrderLine, said: Line) -> dict[str, Any]:
        packs: int | None = line.packs
        if said.status in LINE_REJECTED:
            packs = 0
        elif said.quantity is not None:
            packs = found.packs(f"{place}/cbc:Quantity", line, said.quantity)
        due_on = said.promised_on or line.due_on
        return {"line": str(line.pk), "packs": packs, "due_on": due_on.isoformat()}

    return {"reference": document.id, "lines": found.each(lambda one: one.id, "cbc:ID", answer)}


def announcement_body(document: Document, order: PurchaseOrder) -> dict[str, Any]:
    """
    Return a supplier's DespatchAdvice as the body of an announcement.

    Raises
    ------
    Invalid
        As `confirmation_body` does, and where no day of arrival is given.
    """
    found = _Lines(document, order)
    day = document.arrives_on
    if day is None:
        place = "/DespatchAdvice/cac:Shipment/cac:Delivery/cac:EstimatedDeliveryPeriod/cbc:EndDate"
        found.refuse(place, "required", None, "give the day on which it will arrive")

    def announced(place: str, line: PurchaseOrderLine, said: Line) -> dict[str, Any]:
        last = said.outstanding is not None and said.outstanding.value == 0
        body: dict[str, Any] = {"line": str(line.pk), "due_on": day.isoformat() if day else ""}
        if last and said.quantity is not None:
            body["last_packs"] = found.packs(f"{place}/cbc:DeliveredQuantity", line, said.quantity)
        return body

    path = "cac:OrderLineReference/cbc:LineID"
    rows = found.each(lambda one: one.order_line, path, announced)
    return {"reference": document.tracking or document.id, "lines": rows}


BODIES = {Kind.ORDER_RESPONSE: confirmation_body, Kind.DESPATCH_ADVICE: announcement_body}


class _Lines:
    """The lines of a supplier's document beside those of the order that it names."""

    def __init__(self, document: Document, order: PurchaseOrder) -> None:
        self.document, self.order = document, order
        self.lines = {str(line.pk): line for line in _lines(order)}
        self.problems: list[FieldProblem] = []
        if document.order_id != order.number:
            self.refuse(f"/{document.kind}/cac:OrderReference/cbc:ID", "other_order",
                        document.order_id, f"this is about {order.number}")  # fmt: skip

    def refuse(self, path: str, code: str, value: str | None, words: str) -> None:
        said = "is missing" if value is None else f"is {value!r}"
        self.problems.append(FieldProblem(path, code, f"{path} {said}; {words}.", value))

    def each(
        self,
        name_of: Callable[[Line], str],
        named_by: str,
        work: Callable[[str, PurchaseOrderLine, Line], dict[str, Any]],
    ) -> list[dict[str, Any]]:
        """Return what is made of each line; refuse with all problems where there are any."""
        first, _, inner = LINE_PATHS[self.document.kind].partition("/")
        rows, seen = [], set()
        for n, said in enumerate(self.document.lines, 1):
            place = "/".join(filter(None, (f"/{self.document.kind}/{first}[{n}]", inner)))
            name = name_of(said)
            line = self.lines.get(name)
            if line is None:
                known = ", ".join(self.lines)
                self.refuse(f"{place}/{named_by}", "does_not_exist", name,
                            f"{self.order} has the lines {known}")  # fmt: skip
            elif name in seen:
                self.refuse(f"{place}/{named_by}", "repeated", name, "name each line once")
            else:
                seen.add(name)
                rows.append(work(place, line, said))
        if self.problems:
            words = " ".join(one.detail for one in self.problems[:5])
            raise Invalid(words, tuple(self.problems))
        return rows

    def packs(self, place: str, line: PurchaseOrderLine, said: Quantity) -> int | None:
        """Return a quantity in packs of an order line."""
        unit = line.material.unit
        if said.unit in COUNTED and unit != "pc":
            packs = said.value
        else:
            much = in_unit(said.value, said.unit, unit)
            if much is None:
                self.refuse(f"{place}/@unitCode", "wrong_unit", said.unit,
                            f"{line.material.name} is counted in {HOUSE[unit]}")  # fmt: skip
                return None
            packs = much / line.content
        if packs < 0 or packs != packs.to_integral_value():
            size = f"{line.content.normalize():f} {HOUSE[unit]}"
            self.refuse(place, "no_whole_packs", f"{said.value:f} {said.unit}",
                        f"give a whole number of packs of {size}")  # fmt: skip
            return None
        return int(packs)
