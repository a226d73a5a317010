"""Stock as it was at the end of a past day, from the ledger alone: a page, and a file by lot."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid
from shared.export import Column, download
from shop import page_forms as forms
from shop.ledger import queries
from shop.ledger.posting import STEP

COLUMNS = (
    Column("material"),
    Column("name"),
    Column("lot"),
    Column("supplier"),
    Column("received_on", "day"),
    Column("quantity", "number"),
    Column("unit"),
)
PRICED = (*COLUMNS, Column("worth", "number"), Column("currency"))


def _day(request: Any) -> date:
    """Return the day asked for, today without it; a day to come is not past."""
    today = clock.today(request.site)
    try:
        asked = forms.day(request.GET, "day")
        if asked is not None and asked > today:
            words = f"day is {asked}; give today, {today}, or a day before."
            raise Invalid.one("day", "in_future", words, value=asked, limit=today)
    except Invalid as error:
        messages.error(request, f"{error.message} Showing today.")
        return today
    return asked or today


@needs("lots:read")
@require_GET
def past(request: Any) -> HttpResponse:
    """Show what the site held of each material at the end of a day."""
    day = _day(request)
    rows = queries.totals_at(request.site, clock.day_end(day, request.site))
    context = {"day": day, "rows": rows, "today": clock.today(request.site)}
    return render(request, "shop/stock/past.html", context)


@needs("lots:read")
@require_GET
def past_file(request: Any, form: str) -> HttpResponse:
    """Hand out every lot held at the end of a day; with its worth for who may see prices."""
    day, site = _day(request), request.site
    priced = request.access.may("prices:read", site.pk)
    rows = []
    for one in queries.lots_at(site, clock.day_end(day, site)):
        lot, supplier = one.lot, one.lot.supplier
        row = [
            lot.material.code,
            lot.material.name,
            lot.code,
            supplier.name if supplier else "",
            lot.received_on,
            one.quantity.quantize(STEP),
            lot.material.unit,
        ]
        worth = [one.worth, supplier.currency if supplier else ""]
        rows.append([*row, *worth] if priced else row)
    name = f"stock-{site.code}-{day.isoformat()}"
    return download(name, form, PRICED if priced else COLUMNS, rows)
