"""Pages: the record of hazardous waste of a month, entries, and the file of it."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from shared import clock, lists
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shared.export import Column, download
from shop import page_forms as forms
from shop.lots.models import Container, Lot
from shop.trace.sides import sides
from shop.waste import actions, queries
from shop.waste.models import WasteEntry, WasteKind

COLUMNS = (
    Column("day", "day"),
    Column("kind"),
    Column("mass_kg", "number"),
    Column("material"),
    Column("lot"),
    Column("hazards"),
    Column("left_over_from"),
    Column("words"),
    Column("by"),
)


def _month(request: Any) -> tuple[date, date]:
    today = clock.today(request.site)
    try:
        return forms.month(request.GET.get("month"), today)
    except Invalid as error:
        messages.error(request, f"{error.message} Showing this month.")
        return forms.month(None, today)


@needs("movements:read")
@require_GET
def waste(request: Any) -> HttpResponse:
    """Show the record of a month with the mass of each kind."""
    first, last = _month(request)
    rows = queries.record(request.site, first, last)
    listed = lists.found_among(
        request,
        list(reversed(rows)),
        text=lambda row: f"{row.kind_words} {row.words} {row.lot.code if row.lot else ''}",
    )
    return render(
        request,
        "shop/waste/waste.html",
        {
            "month": f"{first:%Y-%m}",
            "page": listed.page,
            "found": listed,
            "sides": sides(row.counterpart for row in listed.page if row.counterpart),
            "totals": queries.totals(rows),
            "kinds": WasteKind.choices,
            "key": uuid4().hex,
            "may_write": request.access.may("movements:write", request.site.pk),
        },
    )


@needs("movements:read")
@require_GET
def waste_file(request: Any, form: str) -> HttpResponse:
    """Hand out the record of a month."""
    first, last = _month(request)
    rows = queries.record(request.site, first, last)
    named = sides(row.counterpart for row in rows if row.counterpart)
    table = [
        [
            clock.local(row.at, request.site).date(), row.kind_words, row.mass_kg,
            row.lot.material.name if row.lot else "", row.lot.code if row.lot else "",
            row.hazards, named[row.counterpart].label if row.counterpart else "", row.words,
            row.by,
        ]
        for row in rows
    ]  # fmt: skip
    return download(f"waste-{request.site.code}-{first:%Y-%m}", form, COLUMNS, table)


@needs("movements:write")
@require_POST
def add(request: Any) -> HttpResponse:
    """Enter what went into waste."""
    post, site = request.POST, request.site
    try:
        lot, counterpart = _origin(post, site)
        actions.enter(
            site=site,
            kind=forms.text(post, "kind", 8),
            mass_kg=forms.number(post, "mass_kg", "kg"),
            key=f"page:{forms.text(post, 'key', 64)}",
            at=forms.moment(post, "at", clock.zone(site.time_zone)),
            by=request.user,
            lot=lot,
            counterpart=counterpart,
            words=forms.text(post, "words"),
        )
        messages.success(request, "Written down.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect(reverse("waste"))


def _origin(post: Any, site: Any) -> tuple[Lot | None, str]:
    """Return the lot, or what a code names that it is left over from: a can, batch or tool."""
    code = forms.text(post, "code", 400)
    if not code:
        return None, ""
    found = find_code(site, code, wanted=("lot", "can", "batch", "tool"))
    if found.kind == "lot":
        return Lot.objects.get(pk=found.pk), ""
    if found.kind == "can":
        return Container.objects.select_related("lot").get(pk=found.pk).lot, ""
    return None, f"{found.kind}:{found.pk}"


@needs("movements:write")
@require_POST
def withdraw(request: Any, pk: int) -> HttpResponse:
    """Take back an entry that was wrong."""
    entry = get_object_or_404(WasteEntry, pk=pk, site=request.site)
    try:
        words = forms.text(request.POST, "words")
        actions.withdraw(entry=entry, words=words, by=request.user)
        messages.success(request, "The entry is withdrawn.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect(reverse("waste"))
