"""Tool orders from a UBL Order, and the answer to them as a UBL OrderResponse."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from planning.order_events.queries import events_of, last_told
from planning.pours.models import OrderStatus, PourStatus, ToolOrder
from shared import clock
from shared.errors import FieldProblem, Invalid, ShopError
from shared.ubl.document import Document, Kind, Line, Quantity
from shop import stores

PIECES = ("H87", "C62", "EA")
MOST_PIECES = 50
OF_ORDER = ("route", "site", "priority", "earliest_on", "service_c")
"""Properties of an item that are fields of a tool order, by the API's own names."""
OF_POUR = re.compile(r"(?P<half>[AB])\.(?P<field>[a-z_]{1,40})")
"""Properties that are fields of the casting of one half: `A.length_mm`."""
LINE = "/Order/cac:OrderLine[{}]/cac:LineItem"
PLACES = {
    "tool_code": "cac:Item/cac:BuyersItemIdentification/cbc:ID",
    "tool_name": "cac:Item/cbc:Name",
    "due_on": "cac:Delivery/cac:RequestedDeliveryPeriod/cbc:EndDate",
    "customer_reference": "cbc:ID",
    "remarks": "cbc:Note",
}
"""Where in a line of an order a field of the API stands, beside its properties."""


def order_bodies(document: Document) -> dict[str, Any]:
    """
    Return a UBL Order as the body of `POST /tool-orders/bulk`: a tool order for each piece's line.

    An item's buyer's id is the tool's code. What else an order takes stands in its additional
    properties, by the API's names: `route`, and `A.length_mm`, `A.system_code` for each half.

    Raises
    ------
    Invalid
        By the path of the element: no whole pieces, or a property that nothing here knows.
    """
    problems: list[FieldProblem] = []
    items = [_item(n, document, line, problems) for n, line in enumerate(document.lines, 1)]
    if problems:
        raise Invalid(" ".join(one.detail for one in problems[:5]), tuple(problems))
    return {"items": items}


def _item(n: int, document: Document, line: Line, problems: list[FieldProblem]) -> dict[str, Any]:
    place = LINE.format(n)
    body: dict[str, Any] = {
        "tool_code": line.buyers_item,
        "tool_name": line.name[:120],
        "customer": document.buyer[:120],
        "customer_reference": reference(document.id, line.id),
        "remarks": "\n".join(filter(None, (document.note, line.note)))[:400],
    }
    if line.wanted_on is not None:
        body["due_on"] = line.wanted_on.isoformat()
    if (pieces_of(line) or 0) < 1:
        said = line.quantity
        value = "" if said is None else f"{said.value:f} {said.unit}"
        words = f"give 1 to {MOST_PIECES} whole pieces, in {', '.join(PIECES)}"
        problems.append(_problem(f"{place}/cbc:Quantity", "no_whole_pieces", value, words))
    halves: dict[str, dict[str, Any]] = {}
    for m, (name, text) in enumerate(line.properties, 1):
        of_pour = OF_POUR.fullmatch(name)
        if of_pour:
            half, field = of_pour["half"], of_pour["field"]
            halves.setdefault(half, {"half": half})[field] = text
        elif name in OF_ORDER:
            body[name] = int(text) if name == "priority" and text.isdecimal() else text
        else:
            words = f"known are {', '.join(OF_ORDER)}, and fields of a pour as A.length_mm"
            at = f"{place}/cac:Item/cac:AdditionalItemProperty[{m}]/cbc:Name"
            problems.append(_problem(at, "unknown_field", name, words))
    for half, fields in halves.items():
        _links_by_code(place, half, fields, line, problems)
        for name in ("may_share", "same_place"):
            if fields.get(name) in ("true", "false"):
                fields[name] = fields[name] == "true"
        if str(fields.get("priority", "")).isdecimal():
            fields["priority"] = int(fields["priority"])
    body["pours"] = [halves[half] for half in sorted(halves)]
    return body


def _links_by_code(
    place: str,
    half: str,
    fields: dict[str, Any],
    line: Line,
    problems: list[FieldProblem],
) -> None:
    """Put the ids of resin system and release recipe in the place of their codes."""
    for name, find in (
        ("system", stores.system_by_code),
        ("release_recipe", stores.recipe_by_code),
    ):
        code = fields.pop(f"{name}_code", None)
        if code is None:
            continue
        try:
            fields[name] = str(find(code).id)
        except ShopError as error:
            at = f"{place}/{property_place(line, f'{half}.{name}_code')}"
            problems.append(_problem(at, "does_not_exist", code, error.message.rstrip(".")))


def property_place(line: Line, name: str) -> str:
    """Return where in a line the value of a property stands."""
    names = [one for one, _ in line.properties]
    number = names.index(name) + 1 if name in names else len(names) + 1
    return f"cac:Item/cac:AdditionalItemProperty[{number}]/cbc:Value"


def _problem(path: str, code: str, value: str, words: str) -> FieldProblem:
    return FieldProblem(path, code, f"{path} is {value!r}; {words}.", value)


def pieces_of(line: Line) -> int | None:
    """Return how many pieces a line asks for; None where that is no whole number of pieces."""
    said = line.quantity
    if said is None or said.unit not in PIECES or said.value != said.value.to_integral_value():
        return None
    return int(said.value) if 1 <= said.value <= MOST_PIECES else None


def reference(document_id: str, line_id: str) -> str:
    """Return the customer's reference of the tool order of a line: PO-4711/1."""
    return f"{document_id}/{line_id}"[:80]


def by_path(problems: Any, document: Document) -> tuple[FieldProblem, ...]:
    """Return problems of the JSON body by the paths of the elements that it was made of."""
    found = []
    for one in problems:
        steps = one.pointer.removeprefix("#/").split("/")
        if steps[0] != "items" or len(steps) < 3:
            found.append(one)
            continue
        line = document.lines[int(steps[1])]
        path = f"{LINE.format(int(steps[1]) + 1)}/{_place(steps[2:], line)}"
        name = steps[-1]
        words = f"{path}: {one.detail}"
        found.append(
            FieldProblem(path, one.code, words, one.value, one.limit, one.unit)
            if name in one.detail
            else FieldProblem(path, one.code, f"{path}: {name} {one.detail}", one.value)
        )
    return tuple(found)


def _place(steps: list[str], line: Line) -> str:
    if steps[0] != "pours":
        return PLACES.get(steps[0]) or property_place(line, steps[0])
    if len(steps) < 3:
        return "cac:Item/cac:AdditionalItemProperty"
    halves = sorted({name[0] for name, _ in line.properties if OF_POUR.fullmatch(name)})
    half = halves[int(steps[1])] if int(steps[1]) < len(halves) else "A"
    names = [name for name, _ in line.properties]
    given = f"{half}.{steps[2]}"
    by_code = f"{given}_code"
    return property_place(line, by_code if by_code in names else given)


def refuse_known(document: Document, items: Iterable[Mapping[str, Any]]) -> None:
    """Refuse an order of which a line was taken in before at that site, from the same buyer."""
    for item in items:
        rows = ToolOrder.objects.filter(
            site=item["site"],
            customer=item["customer"],
            customer_reference=item["customer_reference"],
        )
        known = rows.exclude(status=OrderStatus.CANCELLED).order_by("pk").first()
        if known is not None:
            raise ShopError(
                f"{document.id} of {document.buyer or 'a buyer without a name'} was taken in "
                f"before as order {known.number}. Change or cancel that one, or give the document "
                "another ID.",
                code="order_known",
            )


ACCEPTED, CHANGED, REJECTED = "AP", "CA", "RE"
"""Accepted, accepted with changes, rejected: UN/EDIFACT 4343, from memory."""


def response_document(order: ToolOrder, now: datetime) -> Document:
    """
    Return how a tool order stands as an OrderResponse to whoever ordered it.

    The day promised is the one by which the plan has it done; an order that no plan dates yet is
    answered without a day. Later than wanted, it is accepted with changes.
    """
    document_id, _, line_id = order.customer_reference.rpartition("/")
    day = _promised(order)
    cancelled = order.status == OrderStatus.CANCELLED
    late = day is not None and day > order.due_on
    last = events_of(order.pk).values_list("sequence", flat=True).first()
    return Document(
        kind=Kind.ORDER_RESPONSE,
        id=f"{order.number}-{last or 0}",
        issued_on=clock.local(now, order.site).date(),
        response=REJECTED if cancelled else CHANGED if late else ACCEPTED,
        note=f"On hold: {order.held_reason}" if order.held_at else "",
        order_id=document_id or order.customer_reference or order.number,
        seller=order.site.legal_name or order.site.name,
        buyer=order.customer,
        lines=(
            Line(
                id=line_id if document_id and line_id else "1",
                status="Cancelled" if cancelled else "Revised" if late else "NoStatus",
                quantity=Quantity(Decimal(0 if cancelled else 1), "H87"),
                promised_on=day,
                name=order.tool.name,
                buyers_item=order.tool.code,
                sellers_item=order.number,
            ),
        ),
    )


def _promised(order: ToolOrder) -> Any:
    """Return the day by which the plan last told has all halves done; None where it has not."""
    gone = (PourStatus.CANCELLED, PourStatus.FAILED)
    pours = [pour for pour in order.pours.all() if pour.status not in gone]
    told: Mapping[int, Mapping[str, Any]] = last_told(pours)
    if not pours or any(pour.pk not in told for pour in pours):
        return None
    ends = [datetime.fromisoformat(told[pour.pk]["done_at"]) for pour in pours]
    return clock.local(max(ends), order.site).date()
