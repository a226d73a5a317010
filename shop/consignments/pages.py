"""Pages: goods sent to another site, and goods that arrive from one."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from shared.access.models import Site
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.consignments import actions
from shop.consignments.actions import Came
from shop.consignments.models import Arrival, Consignment
from shop.lots.models import Container
from shop.sites.models import Location

ON_A_PAGE = 50
CANS = range(1, 7)


@needs("movements:read")
@require_safe
def consignments(request: Any) -> HttpResponse:
    """List what was sent from here and what comes here, with a form to send."""
    here = request.site
    rows = Consignment.objects.filter(Q(site=here) | Q(to_site=here))
    rows = rows.select_related("site", "to_site", "arrival").order_by("-pk")
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "shop/consignments/consignments.html",
        {
            "page": page,
            "here": here,
            "others": Site.objects.exclude(pk=here.pk).order_by("code"),
            "cans": CANS,
            "key": uuid4().hex,
            "may_write": request.access.may("movements:write", here.pk),
        },
    )


@needs("movements:write")
@require_POST
def send(request: Any) -> HttpResponse:
    """Send goods to another site."""
    post = request.POST
    try:
        to_site = forms.chosen(post, "to_site", Site.objects.all())
        if to_site is None:
            raise Invalid.one("to_site", "required", "to_site is empty; choose a site.")
        made = actions.send(
            site=request.site,
            to_site=to_site,
            goods=[one for n in CANS if (one := _goods(post, request.site, n)) is not None],
            key=f"page:{forms.text(post, 'key', 64)}",
            by=request.user,
            words=forms.text(post, "words"),
            due_on=forms.day(post, "due_on"),
        )
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
        return redirect("consignments")
    messages.success(request, f"{made} is on the way to {made.to_site}.")
    return redirect("consignment", made.pk)


def _goods(post: Any, site: Site, n: int) -> tuple[Container, Decimal] | None:
    code = forms.text(post, f"can{n}", 80)
    if not code:
        return None
    named = find_code(site, code, wanted=("can",), field=f"can{n}")
    container = Container.objects.select_related("lot__material").get(pk=named.pk)
    if not post.get(f"much{n}", "").strip():
        return container, container.balance
    typed = {"quantity": post[f"much{n}"]}
    return container, forms.number(typed, "quantity", container.lot.material.unit)


@needs("movements:read")
@require_safe
def consignment(request: Any, pk: int) -> HttpResponse:
    """Show what was sent from here."""
    rows = Consignment.objects.select_related("site", "to_site", "sent_by", "arrival")
    found = get_object_or_404(rows, pk=pk, site=request.site)
    return render(
        request, "shop/consignments/consignment.html", _shown(request, found, "consignment")
    )


@needs("movements:write")
@require_POST
def take_back(request: Any, pk: int) -> HttpResponse:
    """Take back what is still on the way."""
    found = get_object_or_404(Consignment, pk=pk, site=request.site)
    try:
        actions.take_back(consignment=found, by=request.user)
        messages.success(request, "What was on the way is back in its containers.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("consignment", pk)


@needs("movements:read")
@require_safe
def arrival(request: Any, pk: int) -> HttpResponse:
    """Show what comes here, with a form to take it in."""
    rows = Arrival.objects.select_related(
        "consignment__site", "consignment__to_site", "consignment__sent_by", "received_by"
    )
    found = get_object_or_404(rows, pk=pk, site=request.site)
    shelves = Location.objects.filter(site=request.site, in_use=True).order_by("name")
    shown = _shown(request, found.consignment, "arrival") | {
        "arrival": found, "shelves": shelves, "key": uuid4().hex,
    }  # fmt: skip
    return render(request, "shop/consignments/consignment.html", shown)


def _shown(request: Any, found: Consignment, side: str) -> dict[str, Any]:
    lines = found.lines.select_related("source__lot__material", "transit")
    may = request.access.may("movements:write", request.site.pk)
    return {"consignment": found, "lines": lines, "side": side, "may_write": may}


@needs("movements:write")
@require_POST
def receive(request: Any, pk: int) -> HttpResponse:
    """Take in what has come of a consignment."""
    rows = Arrival.objects.select_related("consignment")
    found = get_object_or_404(rows, pk=pk, site=request.site)
    post = request.POST
    shelves = Location.objects.filter(site=request.site)
    try:
        came = [
            Came(line, forms.number(post, f"came{line.pk}"),
                 forms.chosen(post, f"shelf{line.pk}", shelves))
            for line in found.consignment.lines.all()
            if post.get(f"came{line.pk}", "").strip()
        ]  # fmt: skip
        after = actions.receive(
            arrival=found, came=came, key=f"page:{forms.text(post, 'key', 64)}", by=request.user,
            short=post.get("short") == "yes", words=forms.text(post, "words"),
        )  # fmt: skip
        messages.success(request, f"Taken in. {after} is {after.get_status_display().lower()}.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("arrival", pk)
