"""Pages: what was sent, a form to send what stands ready, one note, and its paper."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from planning.deliveries import actions, queries
from planning.deliveries.models import DeliveryNote
from planning.deliveries.page_forms import BackForm, SendForm
from planning.pours.models import Pour, ToolOrder
from shared import clock, lists
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError

MOST_SHOWN = 200
LINES = ("lines__pour__order__tool", "lines__taken_back_by__note")


@require_safe
@needs("tool_orders:read")
def deliveries(request: Any) -> HttpResponse:
    """List the delivery notes of a site, the latest first."""
    rows = DeliveryNote.objects.filter(site=request.site)
    listed = lists.found(
        request,
        rows.select_related("takes_back").prefetch_related("lines__pour__order"),
        search=("recipient", "carrier", "carrier_reference", "lines__pour__order__number",
                "lines__pour__order__customer_reference"),
        orders=(
            ("latest", "latest first", ("-pk",)),
            ("recipient", "to whom", ("recipient", "pk")),
        ),
    )  # fmt: skip
    return render(
        request,
        "planning/deliveries/deliveries.html",
        {
            "page": listed.page,
            "found": listed,
            "ready": queries.ready(request.site.pk).count(),
            "may_send": request.access.may("tool_orders:write", request.site.pk),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs("tool_orders:write")
def new_delivery(request: Any) -> HttpResponse:
    """Send castings that stand ready, all of them or those of one order."""
    site = request.site
    castings, chosen = _offered(request)
    form = SendForm(
        request.POST or None,
        zone=clock.zone(site.time_zone),
        castings=castings,
        key=uuid4().hex,
        initial=_first_values(request, chosen),
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.send(site=site, now=clock.now(), by=request.user, **form.values())
        except ShopError as error:
            _mark(form, error)
        else:
            messages.success(request, f"{made} is written down; print it and send it along.")
            return redirect("delivery", made.pk)
    status = 200 if request.method != "POST" else 422
    context = {"form": form, "order": chosen, "any": bool(form.fields["pours"].queryset)}
    return render(request, "planning/deliveries/new.html", context, status=status)


def _offered(request: Any) -> tuple[QuerySet[Pour], ToolOrder | None]:
    """Return the castings to choose from; those that a form named stay for it to be sent again."""
    castings = queries.ready(request.site.pk)
    asked = request.GET.get("order", "")
    chosen = None
    if asked.isdecimal() and len(asked) < 18:
        chosen = ToolOrder.objects.filter(site=request.site, pk=asked).first()
    if chosen is not None:
        castings = castings.filter(order__customer=chosen.customer)
    named = [pk for pk in request.POST.getlist("pours") if pk.isdecimal() and len(pk) < 18]
    shown = [*castings.values_list("pk", flat=True)[:MOST_SHOWN], *map(int, named[:MOST_SHOWN])]
    rows = Pour.objects.filter(order__site=request.site, pk__in=shown).select_related("order")
    return rows.order_by("order__customer", "order__number", "half"), chosen


def _first_values(request: Any, chosen: ToolOrder | None) -> dict[str, Any]:
    if chosen is None:
        return {}
    before = queries.last_to(request.site.pk, chosen.customer)
    ready = queries.ready(request.site.pk).filter(order=chosen)
    return {
        "pours": [pour.pk for pour in ready],
        "recipient": chosen.customer,
        "address": before.address if before else "",
        "carrier": before.carrier if before else "",
    }


def _mark(form: Any, error: ShopError) -> None:
    """Put a refusal at the field it names, where the form has it."""
    for problem in error.problems if isinstance(error, Invalid) else ():
        name = problem.pointer.removeprefix("#/").split("/")[0]
        form.add_error(name if name in form.fields else None, problem.detail)
    if not form.errors:
        form.add_error(None, error.message)


def _note(request: Any, pk: int) -> DeliveryNote:
    rows = DeliveryNote.objects.select_related("site", "by", "takes_back")
    return get_object_or_404(rows.prefetch_related(*LINES), pk=pk, site=request.site)


@require_safe
@needs("tool_orders:read")
def delivery(request: Any, pk: int) -> HttpResponse:
    """Show a delivery note, with a form for what comes back of it."""
    return _page(request, _note(request, pk))


def _back_form(request: Any, note: DeliveryNote, data: Any = None) -> BackForm:
    away = [line.pour_id for line in queries.still_out(note)]
    return BackForm(
        data,
        zone=clock.zone(request.site.time_zone),
        castings=Pour.objects.filter(delivery_lines__note=note).select_related("order")
        if data is not None
        else Pour.objects.filter(pk__in=away).select_related("order"),
        key=uuid4().hex,
        initial={"pours": away},
    )


def _page(request: Any, note: DeliveryNote, form: Any = None) -> HttpResponse:
    may = request.access.may("tool_orders:write", request.site.pk)
    status = 200 if form is None else 422
    if form is None and may and queries.still_out(note):
        form = _back_form(request, note)
    context = {"note": note, "form": form}
    return render(request, "planning/deliveries/delivery.html", context, status=status)


@require_http_methods(["POST"])
@needs("tool_orders:write")
def take_back(request: Any, pk: int) -> HttpResponse:
    """Take castings of a delivery back by a further note."""
    note = _note(request, pk)
    form = _back_form(request, note, request.POST)
    if form.is_valid():
        try:
            made = actions.take_back(note=note, now=clock.now(), by=request.user, **form.values())
        except ShopError as error:
            _mark(form, error)
        else:
            messages.success(request, f"{made} takes back what came back of {note}.")
            return redirect("delivery", made.pk)
    return _page(request, note, form)


@require_safe
@needs("tool_orders:read")
def paper(request: Any, pk: int) -> HttpResponse:
    """Show a delivery note as it is printed."""
    note = _note(request, pk)
    context = {"note": note, "site": note.site, "now": clock.now()}
    return render(request, "planning/deliveries/paper.html", context)
