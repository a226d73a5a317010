"""Orders: what is wanted, a form for one more, and a file of many."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from planning.pours import actions
from planning.pours.models import OrderStatus, ToolOrder
from planning.pours.order_file import load_pours
from planning.pours.page_forms import FileForm, OrderForm, PourForm
from planning.routes.models import Route
from shared import clock, lists
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError

ORDERS_A_PAGE = 50


@needs("tool_orders:read")
def orders(request: HttpRequest) -> HttpResponse:
    """List a site's orders, the open ones unless others are asked for."""
    chosen = request.GET.get("status", OrderStatus.OPEN)
    rows = ToolOrder.objects.filter(site=request.site).select_related("tool", "route")
    if chosen in OrderStatus.values:
        rows = rows.filter(status=chosen)
    listed = lists.found(
        request,
        rows.prefetch_related("pours"),
        search=("number", "customer", "customer_reference", "tool__code", "tool__name"),
        orders=(
            ("due", "earliest due first", ("due_on", "number")),
            ("number", "number", ("number",)),
            ("priority", "most urgent first", ("-priority", "due_on", "number")),
        ),
    )
    return render(
        request,
        "planning/pours/orders.html",
        {
            "page": listed.page,
            "found": listed,
            "chosen": chosen,
            "statuses": OrderStatus.choices,
            "today": clock.today(request.site),
            "may_order": request.access.may("tool_orders:write", request.site.pk),
        },
    )


@needs("tool_orders:write")
def new_order(request: HttpRequest) -> HttpResponse:
    """Take in one order with a pour for each half of its tool."""
    data = request.POST or None
    order, half_a = OrderForm(data), PourForm(data, prefix="a")
    half_b = PourForm(data, prefix="b")
    problem: ShopError | None = None
    if data is not None and order.is_valid():
        halves = [half_a, half_b] if order.cleaned_data["route"].kind == "matched" else [half_a]
        wrong = [form for form in halves if not form.is_valid()]  # asks each, so all are marked
        if not wrong:
            try:
                made = _take(request, order, halves)
                messages.success(request, f"Order {made.number} is taken in; plan its week next.")
                return redirect("orders")
            except ShopError as error:
                problem = error
                _mark(error, halves, order)
    return render(
        request,
        "planning/pours/new_order.html",
        {
            "order": order,
            "half_a": half_a,
            "half_b": half_b,
            "problem": problem,
            "matched": list(Route.objects.filter(kind="matched").values_list("pk", flat=True)),
        },
        status=200 if data is None else 422,
    )


def _take(request: HttpRequest, order: OrderForm, halves: list[PourForm]) -> ToolOrder:
    now = clock.now()
    day = clock.today(request.site)
    (made,) = actions.take_orders(
        [
            {
                **order.cleaned_data,
                "site_id": request.site.pk,
                "number": actions.next_number(request.site.pk, day),
                "pours": [form.values(half) for form, half in zip(halves, "AB", strict=False)],
                "now": now,
                "by": request.user,
            }
        ]
    )
    return made


def _mark(error: ShopError, halves: list[PourForm], order: OrderForm) -> None:
    """Put each refusal at the field it names, where the form has it."""
    for problem in error.problems if isinstance(error, Invalid) else ():
        name = problem.pointer.rsplit("/", 1)[-1]
        for form in (order, *halves):
            if name in form.fields:
                form.add_error(name, problem.detail)
                break


@needs("tool_orders:write")
def load_file(request: HttpRequest) -> HttpResponse:
    """Take in a file of orders: all of it, or nothing with every bad cell named."""
    form = FileForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form, "problem": None, "found": None}
    if request.method == "POST" and form.is_valid():
        only_look = form.cleaned_data["only_look"]
        try:
            found = load_pours(
                site_id=request.site.pk,
                data=form.cleaned_data["file"].read(),
                now=clock.now(),
                dry_run=only_look,
            )
        except ShopError as error:
            context["problem"] = error
        else:
            if not only_look:
                messages.success(request, f"{len(found)} orders are taken in.")
                return redirect("orders")
            context["found"] = found
    status = 422 if context["problem"] or form.errors else 200
    return render(request, "planning/pours/load_file.html", context, status=status)
