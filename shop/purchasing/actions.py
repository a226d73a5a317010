"""What becomes of a purchase order, one verb a function; each is atomic and safe to repeat."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from shared import clock
from shared.access.models import Site, User
from shared.errors import Invalid
from shared.retry import retried
from shop import telling
from shop.catalogue.queries import orders_by_two
from shop.errors import NotFound
from shop.ledger.goods_in import Goods, Received, receive_goods
from shop.materials.models import Material
from shop.materials.suppliers import Supplier
from shop.purchasing import queries
from shop.purchasing.errors import BelowLeastOrder, OrderState, OverDelivery
from shop.purchasing.models import OrderStatus, PurchaseOrder, PurchaseOrderLine


@dataclass(frozen=True)
class NewLine:
    """What to put on an order: packs of one material, wanted on a day."""

    material: Material
    pack_name: str
    content: Decimal
    packs: int
    expected_on: date
    pack_price: Decimal | None = None
    supplier_item: str = ""
    least_life_days: int | None = None
    """Shelf life that must be left on arrival; None: as agreed with the supplier."""


@dataclass(frozen=True)
class Answer:
    """What a supplier confirms of one line."""

    packs: int
    due_on: date


def _locked(order: PurchaseOrder, *states: OrderStatus) -> PurchaseOrder:
    """Lock an order and refuse it unless it is in one of the states."""
    row = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("supplier", "site")
    found = row.get(pk=order.pk)
    if found.status not in states:
        wanted = " or ".join(OrderStatus(s).label.lower() for s in states)
        raise OrderState(
            f"{found} is {found.get_status_display().lower()}; this needs {wanted}.",
            order=found.number,
            value=found.status,
        )
    return found


def _saved(order: PurchaseOrder, *fields: str) -> PurchaseOrder:
    order.version += 1
    order.save(update_fields=[*fields, "version"])
    return order


@retried
def draft(
    *,
    site: Site,
    supplier: Supplier,
    lines: Sequence[NewLine],
    by: User | None = None,
    remarks: str = "",
) -> PurchaseOrder:
    """Write an order down; nothing is asked of the supplier yet."""
    if not lines:
        raise Invalid.one("lines", "empty", "lines is empty; give at least one line.")
    order = PurchaseOrder.objects.create(
        site=site,
        supplier=supplier,
        currency=supplier.currency,
        remarks=remarks,
        created_at=clock.now(),
        created_by=by,
    )
    add_lines(order, lines)
    return order


def add_lines(order: PurchaseOrder, lines: Iterable[NewLine]) -> None:
    """Add lines to an order; the same pack for the same day is added to its line."""
    for new in lines:
        same = order.lines.filter(
            material=new.material,
            pack_name=new.pack_name,
            content=new.content,
            expected_on=new.expected_on,
            least_life_days=_life_asked(order, new),
        ).first()
        if same is None:
            line = PurchaseOrderLine(
                order=order,
                material=new.material,
                pack_name=new.pack_name,
                supplier_item=new.supplier_item,
                content=new.content,
                packs=new.packs,
                pack_price=new.pack_price,
                expected_on=new.expected_on,
                least_life_days=_life_asked(order, new),
            )
            line.full_clean()
            line.save()
        else:
            same.packs += new.packs
            same.pack_price = queries.price_together(same, new.pack_price)
            same.save(update_fields=["packs", "pack_price"])


def _life_asked(order: PurchaseOrder, new: NewLine) -> int | None:
    asked = new.least_life_days
    return order.supplier.least_life_days if asked is None else asked


@retried
def add_to_draft(*, order: PurchaseOrder, line: NewLine) -> PurchaseOrder:
    """Add a line to an order that nobody has agreed to yet."""
    found = _locked(order, OrderStatus.DRAFT)
    add_lines(found, [line])
    return _saved(found)


@retried
def drop_from_draft(*, order: PurchaseOrder, line: PurchaseOrderLine) -> PurchaseOrder:
    """Take a line off an order that nobody has agreed to yet; the last one stays."""
    found = _locked(order, OrderStatus.DRAFT)
    if not found.lines.exclude(pk=line.pk).exists():
        words = f"line {line} is the only one of {found}; cancel the order instead."
        raise Invalid.one("line", "last", words, value=line.pk)
    found.lines.filter(pk=line.pk).delete()
    return _saved(found)


@retried
def approve(*, order: PurchaseOrder, by: User | None) -> PurchaseOrder:
    """
    Agree to a draft; from now on its goods count as coming.

    Raises
    ------
    OrderState
        If whoever wrote it approves it where the company has somebody else do so.
    """
    found = _locked(order, OrderStatus.DRAFT)
    if by is not None and found.created_by_id == by.pk and orders_by_two():
        raise OrderState(
            f"{by} wrote {found}; somebody else approves it. Who may is set on the page People.",
            order=found.number,
        )
    found.status, found.approved_at, found.approved_by = OrderStatus.APPROVED, clock.now(), by
    found = _saved(found, "status", "approved_at", "approved_by")
    telling.approved(found, by=by)
    return found


@retried
def place(*, order: PurchaseOrder, below_least: bool = False) -> PurchaseOrder:
    """
    Order what was approved; how the supplier is told is `mailing.ask` or the API's reader.

    Raises
    ------
    BelowLeastOrder
        If the goods are worth less than the supplier takes, unless `below_least` says go on.
    """
    found = _locked(order, OrderStatus.APPROVED)
    cost, least = queries.goods_cost(found), found.supplier.least_order
    if cost is not None and cost < least and not below_least:
        raise BelowLeastOrder(
            f"{found} is worth {cost:.2f} {found.currency}; {found.supplier} takes no order below "
            f"{least:.2f} {found.currency}. Add to it, or say that it shall go out all the same.",
            value=f"{cost:.2f}",
            limit=f"{least:.2f}",
            unit=found.currency,
        )
    found.status, found.ordered_at = OrderStatus.ORDERED, clock.now()
    return _saved(found, "status", "ordered_at")


@retried
def confirm(
    *, order: PurchaseOrder, reference: str, answers: Mapping[int, Answer]
) -> PurchaseOrder:
    """
    Write down what the supplier confirmed; lines left out are confirmed as ordered.

    Raises
    ------
    Invalid
        If an answer names a line of another order.
    """
    found = _locked(order, OrderStatus.ORDERED, OrderStatus.CONFIRMED)
    lines = {line.pk: line for line in found.lines.all()}
    for line_id in answers:
        if line_id not in lines:
            words = f"line {line_id} is not a line of {found}; it has {sorted(lines)}."
            raise Invalid.one("lines", "does_not_exist", words, value=line_id)
    for line in lines.values():
        answer = answers.get(line.pk, Answer(line.packs, line.due_on))
        line.confirmed_packs, line.confirmed_on = answer.packs, answer.due_on
        line.save(update_fields=["confirmed_packs", "confirmed_on"])
    found.status, found.confirmed_at = OrderStatus.CONFIRMED, clock.now()
    found.supplier_reference = reference or found.supplier_reference
    return _saved(found, "status", "confirmed_at", "supplier_reference")


@dataclass(frozen=True)
class Announced:
    """What a supplier announces of one line: the day, and how many packs end it, if it says so."""

    due_on: date
    last_packs: int | None = None


@retried
def announce(
    *, order: PurchaseOrder, reference: str, lines: Mapping[int, Announced]
) -> PurchaseOrder:
    """
    Write down when a supplier says that goods will arrive; lines left out stay as they are.

    `last_packs` says that these are the last of their line: what is due of it is then what came
    in and these, not what was ordered.

    Raises
    ------
    Invalid
        If a line is another order's, or more packs would be due than anybody may enter.
    """
    found = _locked(order, OrderStatus.ORDERED, OrderStatus.CONFIRMED)
    states = {state.line.pk: state for state in queries.line_states(found)}
    for line_id, said in lines.items():
        if line_id not in states:
            words = f"line {line_id} is not a line of {found}; it has {sorted(states)}."
            raise Invalid.one("lines", "does_not_exist", words, value=line_id)
        state = states[line_id]
        state.line.confirmed_on = said.due_on
        if said.last_packs is not None:
            came = math.ceil(state.received / state.line.content)
            state.line.confirmed_packs = came + said.last_packs
        state.line.save(update_fields=["confirmed_on", "confirmed_packs"])
    found.supplier_reference = found.supplier_reference or reference
    return _saved(found, "supplier_reference")


@retried
def receive(
    *,
    order: PurchaseOrder,
    goods: Sequence[tuple[int, Goods]],
    key: str,
    received_at: datetime,
    by: User | None = None,
    accept_over: bool = False,
) -> tuple[Received, ...]:
    """
    Take in goods against lines of an order, in part or in full, all or nothing.

    The lots cost what the line says. A repeat of the key returns what was taken in before. When
    nothing is open any more the order is marked as received.

    Raises
    ------
    OverDelivery
        If more came than is open, unless `accept_over` says that it is kept.
    """
    open_states = (OrderStatus.ORDERED, OrderStatus.CONFIRMED, OrderStatus.RECEIVED)
    found = _locked(order, *open_states)
    states = {state.line.pk: state for state in queries.line_states(found)}
    asked = []
    for line_id, one in goods:
        if line_id not in states:
            raise NotFound(f"{found} has no line {line_id}.", line=line_id)
        line = states[line_id].line
        if one.material.pk != line.material_id:
            words = f"line {line_id} asks for {line.material}, not for {one.material}."
            raise Invalid.one("goods/material", "differs", words)
        cost = None if line.pack_price is None else line.pack_price / line.content
        asked.append(
            replace(
                one,
                supplier=found.supplier,
                unit_cost=None if cost is None else cost.quantize(Decimal("0.0001")),
                counterpart=line.counterpart,
                least_life_days=line.life_asked,
            )
        )
    taken = receive_goods(
        site=found.site,
        goods=asked,
        key=key,
        received_at=received_at,
        by=by,
        reason=str(found),
        order=found,
    )
    after = queries.line_states(found)
    if not accept_over:
        _refuse_over(after, {line_id for line_id, _ in goods})
    _end_if_all_in(found, after)
    return taken


def _refuse_over(states: Iterable[queries.LineState], touched: set[int]) -> None:
    for state in states:
        coming = state.line.coming_quantity
        if state.line.pk in touched and state.received > coming:
            unit = state.line.material.unit
            raise OverDelivery(
                f"{state.line.material}: {state.received.normalize():f} {unit} would have come in "
                f"of {coming.normalize():f} {unit} ordered. Send the rest back, or say that the "
                "over-delivery is kept.",
                value=f"{state.received.normalize():f}",
                limit=f"{coming.normalize():f}",
                unit=unit,
            )


def _end_if_all_in(order: PurchaseOrder, states: Iterable[queries.LineState]) -> None:
    if order.status != OrderStatus.RECEIVED and all(state.open == 0 for state in states):
        order.status = OrderStatus.RECEIVED
        _saved(order, "status")


@retried
def close(*, order: PurchaseOrder, reason: str = "") -> PurchaseOrder:
    """End an order; what has not come is not expected any more."""
    found = _locked(order, OrderStatus.ORDERED, OrderStatus.CONFIRMED, OrderStatus.RECEIVED)
    if found.status != OrderStatus.RECEIVED and not reason.strip():
        words = "reason is empty; say why an order is closed before everything has come."
        raise Invalid.one("reason", "required", words)
    found.status, found.ended_at, found.end_reason = OrderStatus.CLOSED, clock.now(), reason
    return _saved(found, "status", "ended_at", "end_reason")


@retried
def cancel(*, order: PurchaseOrder, reason: str) -> PurchaseOrder:
    """Withdraw an order that the supplier has not been sent."""
    found = _locked(order, OrderStatus.DRAFT, OrderStatus.APPROVED)
    if not reason.strip():
        raise Invalid.one("reason", "required", "reason is empty; say why it is cancelled.")
    found.status, found.ended_at, found.end_reason = OrderStatus.CANCELLED, clock.now(), reason
    return _saved(found, "status", "ended_at", "end_reason")
