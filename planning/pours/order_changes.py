"""Writes: an order that changes while it is under way: dates, route, quantity, hold, cancel."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from planning.order_events.actions import add_changes, add_event
from planning.pours.actions import (
    GEOMETRY_FIELDS,
    WHEN,
    OrderFixed,
    ask_for_material,
    copy_steps,
    take_order,
    unlikely_due,
)
from planning.pours.leaving import plan_again, take_out_of_plan
from planning.pours.models import OrderStatus, Pour, PourStatus, ToolOrder
from planning.routes.models import Route
from shared import clock
from shared.change import change
from shared.errors import Invalid
from shared.events.kinds import EventKind
from shop import stores

NOT_BEGUN = (PourStatus.ASKED, PourStatus.PLANNED)
MOST_PIECES = 50


def _locked(order: ToolOrder) -> ToolOrder:
    """Return an open order under lock; one that is done or cancelled stays as it is."""
    rows = ToolOrder.objects.select_for_update(of=("self",))
    found = rows.select_related("site", "route", "tool").get(pk=order.pk)
    if found.status != OrderStatus.OPEN:
        raise OrderFixed(
            f"Order {found.number} is {found.get_status_display().lower()}; it can no longer be "
            "changed.",
            code="order_closed",
        )
    return found


def _pours(order: ToolOrder, *states: str) -> list[Pour]:
    rows = order.pours.filter(status__in=states or NOT_BEGUN).select_related("order__site")
    return list(rows.order_by("pk"))


def _in_work(pours: list[Pour]) -> set[int]:
    """Return those planned of which a batch is being weighed, or is weighed or mixed."""
    begun = Pour.objects.filter(
        pk__in=[pour.pk for pour in pours],
        lifts__portions__batch__status__in=["weighing", "weighed", "mixing", "poured"],
    )
    return set(begun.values_list("pk", flat=True))


@transaction.atomic
def change_order(
    *,
    order: ToolOrder,
    changes: Mapping[str, Any],
    now: datetime,
    reason: str = "",
    by: Any = None,
) -> ToolOrder:
    """
    Change dates, priority, route, customer's words or remarks of an open order.

    Pours that have begun keep what they have; of the others those that had the order's own dates
    and priority take the new ones. A new plan is asked for where something planned is concerned.
    """
    order = _locked(order)
    changes = {name: value for name, value in changes.items() if getattr(order, name) != value}
    before = {name: getattr(order, name) for name in changes}
    _check_dates(order, changes, clock.local(now, order.site).date())
    words = reason or f"Order {order.number} was changed ({', '.join(sorted(changes))})"
    if "route" in changes:
        _change_route(order, changes["route"], words, now, by)
    if changes:
        order = change(order, **changes)
    _pass_on(order, before, changes, words, now, by)
    add_changes(order=order, before=before, after=changes, at=now, reason=reason, by=by)
    return order


def _check_dates(order: ToolOrder, changes: Mapping[str, Any], today: date) -> None:
    due_on = changes.get("due_on", order.due_on)
    earliest_on = changes.get("earliest_on", order.earliest_on)
    if "due_on" in changes and (words := unlikely_due(due_on, today)):
        raise Invalid.one("due_on", "unlikely", words, value=str(due_on))
    if earliest_on is not None and due_on < earliest_on:
        raise Invalid.one(
            "due_on", "before_earliest",
            f"due_on is {due_on}; it must not be before earliest_on, {earliest_on}.",
            value=str(due_on), limit=str(earliest_on),
        )  # fmt: skip


def _pass_on(
    order: ToolOrder,
    before: Mapping[str, Any],
    changes: Mapping[str, Any],
    words: str,
    now: datetime,
    by: Any,
) -> None:
    """Give the order's new dates and priority to the pours that had its old ones."""
    planned = False
    for pour in _pours(order):
        own = {
            name: value
            for name, value in changes.items()
            if name in WHEN and getattr(pour, name) == before[name]
        }
        if own:
            planned = planned or pour.status == PourStatus.PLANNED
            change(pour, **own)
            pour.refresh_from_db()
            ask_for_material(pour)
    if planned:
        plan_again(site=order.site, reason=words, now=now, by=by)


def _change_route(order: ToolOrder, route: Route, words: str, now: datetime, by: Any) -> None:
    """Copy the steps of another route to pours of which no step is signed and nothing is cast."""
    if route.kind != order.route.kind:
        raise Invalid.one(
            "route", "other_kind",
            f"route is {route.code}, for a {route.get_kind_display().lower()}; order "
            f"{order.number} is for a {order.route.get_kind_display().lower()}.",
            value=route.code, limit=order.route.kind,
        )  # fmt: skip
    pours = _pours(order)
    signed = Pour.objects.filter(order=order, steps__done_at__isnull=False).exists()
    begun = order.pours.exclude(status__in=[*NOT_BEGUN, PourStatus.CANCELLED]).exists()
    if signed or begun or _in_work(pours):
        raise OrderFixed(
            f"Work on order {order.number} has begun; its route can no longer be changed.",
            code="order_begun",
        )
    planned = [pour for pour in pours if pour.status == PourStatus.PLANNED]
    if planned:
        take_out_of_plan(pours=planned, reason=words, now=now, by=by)
    for pour in pours:
        pour.steps.all().delete()
        pour.refresh_from_db()
        copy_steps(pour, route)


def _reason(reason: str, what: str) -> str:
    if not reason.strip():
        raise Invalid.one("reason", "required", f"reason is empty; say why the order is {what}.")
    return reason.strip()[:200]


@transaction.atomic
def hold_order(*, order: ToolOrder, reason: str, now: datetime, by: Any = None) -> ToolOrder:
    """
    Put an order on hold: nothing more of it is planned until it is released.

    What is planned and not begun is taken out of the plan, its stock is free again; what is
    being weighed, poured or cured goes on.
    """
    reason = _reason(reason, "put on hold")
    order = _locked(order)
    if order.held_at is not None:
        return order
    order = change(order, held_at=now, held_reason=reason)
    pours = _pours(order)
    going_on = _in_work(pours)
    planned = [p for p in pours if p.status == PourStatus.PLANNED and p.pk not in going_on]
    if planned:
        words = f"Order {order.number} was put on hold: {reason}"
        take_out_of_plan(pours=planned, reason=words, now=now, by=by)
    for pour in _pours(order):
        ask_for_material(pour)
    add_event(
        order=order, kind=EventKind.HELD, at=now, reason=reason, by=by,
        new={"goes_on": [str(pk) for pk in sorted(going_on)]},
    )  # fmt: skip
    return order


@transaction.atomic
def release_order(
    *, order: ToolOrder, now: datetime, reason: str = "", by: Any = None
) -> ToolOrder:
    """Let an order that was on hold be planned again, and ask for a plan."""
    order = _locked(order)
    if order.held_at is None:
        return order
    order = change(order, held_at=None, held_reason="")
    for pour in _pours(order, PourStatus.ASKED):
        ask_for_material(pour)
    add_event(order=order, kind=EventKind.RELEASED, at=now, reason=reason, by=by)
    words = reason or f"Order {order.number} was released from hold"
    plan_again(site=order.site, reason=words, now=now, by=by)
    return order


@transaction.atomic
def cancel_order(
    *, order: ToolOrder, now: datetime | None = None, by: Any = None, reason: str = ""
) -> ToolOrder:
    """
    Cancel an order, or what of it has not been poured.

    What is planned of it is taken out of the plan: its stock is free again, and a new plan is
    asked for with the reason. A half that is poured stays what it is, and its order open.
    """
    now = now or clock.now()
    order = _locked(order)
    pours = _pours(order)
    begun = order.pours.exclude(status__in=[*NOT_BEGUN, PourStatus.CANCELLED])
    poured = [str(pour) for pour in begun]
    if poured and not pours:
        raise OrderFixed(
            f"All of order {order.number} has been poured; it can no longer be cancelled.",
            code="order_begun",
        )
    planned = [pour for pour in pours if pour.status == PourStatus.PLANNED]
    if planned:
        because = f": {reason}" if reason else ""
        words = f"Order {order.number} was cancelled{because}"
        take_out_of_plan(pours=planned, reason=words, now=now, by=by)
    for pour in pours:
        change(pour, status=PourStatus.CANCELLED)
        ask_for_material(pour)
    if not poured:
        order = change(order, status=OrderStatus.CANCELLED, held_at=None, held_reason="")
    add_event(
        order=order, kind=EventKind.CANCELLED, at=now, reason=reason, by=by,
        new={"cancelled": [pour.half for pour in pours], "stays": poured},
    )  # fmt: skip
    return order


@transaction.atomic
def set_quantity(
    *, order: ToolOrder, quantity: int, now: datetime, reason: str = "", by: Any = None
) -> ToolOrder:
    """
    Order so many pieces of the same tool in all: each further one is an order of its own.

    More pieces are taken in as copies, T26-0042-2 and so on; fewer are cancelled, the last first,
    as far as nothing of them has begun.
    """
    order = _locked(order)
    if order.copy_of_id is not None:
        raise Invalid.one(
            "quantity", "is_a_copy",
            f"{order.number} is one piece of order {order.copy_of}; change the quantity there.",
        )  # fmt: skip
    if not 1 <= quantity <= MOST_PIECES:
        raise Invalid.one(
            "quantity", "out_of_range",
            f"quantity is {quantity}; it must be 1 to {MOST_PIECES}.",
            value=quantity, limit=MOST_PIECES,
        )  # fmt: skip
    live = list(order.copies.exclude(status=OrderStatus.CANCELLED).order_by("pk"))
    had = 1 + len(live)
    if quantity > had:
        used = 1 + order.copies.count()
        for n in range(quantity - had):
            _copy(order, used + n + 1, now, by)
    elif quantity < had:
        _cancel_copies(order, live, had - quantity, now, reason, by)
    if quantity != had:
        add_event(
            order=order, kind=EventKind.QUANTITY, at=now, reason=reason, by=by,
            old={"quantity": had}, new={"quantity": quantity},
        )  # fmt: skip
    return order


def _copy(order: ToolOrder, number: int, now: datetime, by: Any) -> ToolOrder:
    names = (*GEOMETRY_FIELDS, "half", "system_id", "release_recipe_id", "tool_side", "may_share",
             "place_kind", "same_place", "earliest_on", "due_on", "priority",
             "mix_c", "mould_c", "oven_c")  # fmt: skip
    pours = order.pours.exclude(status__in=[PourStatus.CANCELLED, PourStatus.FAILED])
    rows = [{name: getattr(pour, name) for name in names} for pour in pours.order_by("half")]
    tool = stores.tool(order.tool_id)
    made = take_order(
        site_id=order.site_id,
        number=f"{order.number[:36]}-{number}",
        tool_code=f"{tool.code[:36]}-{number}",
        tool_name=f"{tool.name[:115]} {number}",
        route=order.route,
        due_on=order.due_on,
        earliest_on=order.earliest_on,
        priority=order.priority,
        customer=order.customer,
        customer_reference=order.customer_reference,
        remarks=order.remarks,
        pours=rows,
        copy_of=order,
        now=now,
        by=by,
    )
    patterns = {pour.half: pour.pattern_id for pour in pours}
    for pour in made.pours.all():
        if patterns.get(pour.half) is not None:
            change(pour, pattern_id=patterns[pour.half])
    return made


def _cancel_copies(
    order: ToolOrder, live: list[ToolOrder], many: int, now: datetime, reason: str, by: Any
) -> None:
    free = [
        one
        for one in reversed(live)
        if not one.pours.exclude(status__in=[*NOT_BEGUN, PourStatus.CANCELLED]).exists()
        and not _in_work(_pours(one))
    ]
    if len(free) < many:
        raise OrderFixed(
            f"Work on {1 + len(live) - len(free)} pieces of order {order.number} has begun; the "
            "quantity cannot go below that.",
            code="order_begun",
        )
    words = reason or f"Fewer pieces of order {order.number} are wanted"
    for one in free[:many]:
        cancel_order(order=one, now=now, reason=words, by=by)
