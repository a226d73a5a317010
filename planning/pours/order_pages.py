"""One order: what it is, what happened to it, and how it changes while it is under way."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from planning.order_events.queries import events_of
from planning.pours import actions, order_changes
from planning.pours.models import OrderStatus, Pour, PourStatus, ToolOrder
from planning.pours.page_forms import (
    ChangeOrderForm,
    ChangePourForm,
    HoldForm,
    MayGiveReasonForm,
    QuantityForm,
)
from planning.pours.queries import delivery_notes
from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError

EVENTS_SHOWN = 60


def _order(request: HttpRequest, pk: int) -> ToolOrder:
    rows = ToolOrder.objects.select_related("site", "tool", "route", "copy_of")
    return get_object_or_404(rows, pk=pk, site=request.site)


@require_safe
@needs("tool_orders:read")
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an order with its pours and all that happened to it."""
    found = _order(request, pk)
    return _page(request, found)


def _page(request: Any, found: ToolOrder, form: Any = None) -> HttpResponse:
    pours = list(found.pours.select_related("order", "system").order_by("half", "pk"))
    may = request.access.may("tool_orders:write", request.site.pk)
    open_now = found.status == OrderStatus.OPEN
    copies = found.copies.exclude(status=OrderStatus.CANCELLED)
    context = {
        "order": found,
        "pours": pours,
        "deliveries": delivery_notes(found),
        "may_send": may
        and any(pour.status == PourStatus.DEMOULDED and not pour.sent for pour in pours),
        "events": events_of(found.pk)[:EVENTS_SHOWN],
        "may_change": may and open_now,
        "may_change_pour": [
            pour.pk
            for pour in pours
            if may and pour.status in (PourStatus.ASKED, PourStatus.PLANNED)
        ],
        "form": form or ChangeOrderForm(initial=_initial(found, ChangeOrderForm)),
        "hold": HoldForm(auto_id="hold_%s"),
        "cancel": MayGiveReasonForm(auto_id="cancel_%s"),
        "release": MayGiveReasonForm(auto_id="release_%s"),
        "quantity": QuantityForm(auto_id="quantity_%s", initial={"quantity": 1 + copies.count()}),
        "copies": copies.order_by("pk"),
    }
    status = 200 if form is None else 422
    return render(request, "planning/pours/order.html", context, status=status)


def _initial(row: Any, form: Any) -> dict[str, Any]:
    return {name: getattr(row, name) for name in form.base_fields if name != "reason"}


def _mark(form: Any, error: ShopError) -> None:
    """Put a refusal at the field it names, where the form has it."""
    for problem in error.problems if isinstance(error, Invalid) else ():
        name = problem.pointer.removeprefix("#/")
        form.add_error(name if name in form.fields else None, problem.detail)
    if not form.errors:
        form.add_error(None, error.message)


@require_POST
@needs("tool_orders:write")
def change_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an order; what is planned of it is planned again."""
    found = _order(request, pk)
    form = ChangeOrderForm(request.POST)
    if not form.is_valid():
        return _page(request, found, form)
    try:
        order_changes.change_order(
            order=found,
            changes=form.changes(),
            reason=form.cleaned_data["reason"],
            now=clock.now(),
            by=request.user,
        )
    except ShopError as error:
        _mark(form, error)
        return _page(request, found, form)
    messages.success(request, f"Order {found.number} is changed.")
    return redirect("order", pk)


def _done(
    request: HttpRequest, pk: int, form: Any, work: Callable[..., Any], words: str
) -> HttpResponse:
    found = _order(request, pk)
    if not form.is_valid():
        for name, errors in form.errors.items():
            messages.error(request, f"{form.fields[name].label}: {' '.join(errors)}")
        return redirect("order", pk)
    try:
        work(order=found, now=clock.now(), by=request.user, **form.cleaned_data)
        messages.success(request, words.format(found.number))
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("order", pk)


@require_POST
@needs("tool_orders:write")
def cancel_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel an order, or what of it is not poured."""
    form = MayGiveReasonForm(request.POST)
    return _done(request, pk, form, order_changes.cancel_order, "Order {} is cancelled.")


@require_POST
@needs("tool_orders:write")
def hold_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Put an order on hold."""
    form = HoldForm(request.POST)
    return _done(request, pk, form, order_changes.hold_order, "Order {} is on hold.")


@require_POST
@needs("tool_orders:write")
def release_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Release an order from hold."""
    form = MayGiveReasonForm(request.POST)
    return _done(request, pk, form, order_changes.release_order, "Order {} is released.")


@require_POST
@needs("tool_orders:write")
def set_quantity(request: HttpRequest, pk: int) -> HttpResponse:
    """Order more or fewer pieces of the same tool."""
    form = QuantityForm(request.POST)
    words = "The quantity of order {} is changed."
    return _done(request, pk, form, order_changes.set_quantity, words)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("tool_orders:write")
def change_pour(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what a pour is cast from and how large it is, while nothing of it is cast."""
    rows = Pour.objects.select_related("order", "system")
    pour = get_object_or_404(rows, pk=pk, order__site=request.site)
    if request.method == "POST":
        form = ChangePourForm(request.POST)
        if form.is_valid():
            try:
                actions.change_pour(
                    pour=pour,
                    changes=form.changes(pour),
                    reason=form.cleaned_data["reason"],
                    now=clock.now(),
                    by=request.user,
                )
            except ShopError as error:
                _mark(form, error)
            else:
                messages.success(request, f"{pour} is changed.")
                return redirect("order", pour.order_id)
    else:
        form = ChangePourForm(initial=_initial(pour, ChangePourForm))
    context = {"form": form, "pour": pour, "from_pattern": pour.geometry == "mesh"}
    status = 422 if form.errors else 200
    return render(request, "planning/pours/change_pour.html", context, status=status)
