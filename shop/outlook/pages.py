"""Pages of the outlook: all materials, one material with its picture, and tables to take away."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from shared import lists
from shared.api.permissions import needs
from shared.errors import Invalid
from shared.export import download
from shop.consignments.queries import coming
from shop.materials.models import Material
from shop.outlook import forms, months, queries
from shop.outlook.picture import picture

STATES = (("", "All"), ("short", "Runs short"), ("expiring", "Expires unused"), ("ok", "In order"))


def _days(request: HttpRequest, usual: int = queries.USUAL_DAYS) -> int:
    try:
        return forms.checked_days(request.GET.get("days"), usual)
    except Invalid as error:
        messages.error(request, f"{error.message} Showing {usual} days.")
        return usual


@needs("requirements:read")
@require_GET
def outlook(request: Any) -> HttpResponse:
    """Show what runs short and what expires, the most urgent first."""
    days = _days(request)
    rows = queries.rows(request.site, days=days)
    state = request.GET.get("state", "")
    shown = [row for row in rows if not state or forms.is_among(row, state)]
    order = {"short": 0, "expiring": 1, "ok": 2}
    shown.sort(key=lambda r: (order[r.state], str(r.first_short_on or r.first_expiry_on or "")))
    listed = lists.found_among(
        request,
        shown,
        text=_named,
        orders=(("", "most urgent first", None), ("name", "name", lambda r: _named(r).lower())),
    )
    return render(
        request,
        "shop/outlook/outlook.html",
        {
            "rows": listed.page,
            "page": listed.page,
            "found": listed,
            "counts": forms.counts(rows),
            "days": days,
            "state": state,
            "states": STATES,
            "may_buy": request.access.may("purchases:read", request.site.pk),
        },
    )


def _named(row: Any) -> str:
    return f"{row.material.name} {row.material.code}"


@needs("requirements:read")
@require_GET
def material(request: Any, pk: int) -> HttpResponse:
    """Show one material day by day."""
    found = get_object_or_404(Material, pk=pk)
    days = _days(request)
    (row,) = queries.rows(request.site, days=days, material_ids=[found.pk])
    daily = [
        {"day": day, "figures": figures, "stop": figures[5] > 0, "quiet": not any(figures[1:6])}
        for day, *figures in forms.daily_cells(row)
    ]
    every = request.GET.get("every") == "1"
    return render(
        request,
        "shop/outlook/material.html",
        {
            "row": row,
            "material": found,
            "days": days,
            "picture": picture(row.outlook, found.unit),
            "daily": daily if every else [one for one in daily if not one["quiet"]],
            "every": every,
            "coming": coming(request.site, [found.pk]),
        },
    )


@needs("requirements:read")
@require_GET
def outlook_file(request: Any, form: str) -> HttpResponse:
    """Hand out the table of all materials."""
    rows = queries.rows(request.site, days=_days(request))
    name = f"outlook-{request.site.code}"
    return download(name, form, forms.SUMMARY, [forms.summary_cells(row) for row in rows])


@needs("requirements:read")
@require_GET
def by_month(request: Any) -> HttpResponse:
    """Show the year ahead: each material's stock at the end of each month."""
    days = _days(request, months.YEAR_DAYS)
    years = months.years(request.site, days=days)
    heads = [month.first for month in years[0].months] if years else []
    listed = lists.found_among(request, years, text=_named)
    context = {
        "years": listed.page, "page": listed.page, "found": listed, "heads": heads, "days": days,
    }  # fmt: skip
    return render(request, "shop/outlook/months.html", context)


@needs("requirements:read")
@require_GET
def months_file(request: Any, form: str) -> HttpResponse:
    """Hand out the months of all materials."""
    years = months.years(request.site, days=_days(request, months.YEAR_DAYS))
    rows = [cells for year in years for cells in months.month_cells(year)]
    return download(f"outlook-months-{request.site.code}", form, forms.MONTHS, rows)


@needs("requirements:read")
@require_GET
def days_file(request: Any, form: str) -> HttpResponse:
    """Hand out every day of all materials, written line by line as it is netted."""
    rows = months.every_day(request.site, days=_days(request, months.YEAR_DAYS))
    try:
        return download(f"outlook-days-{request.site.code}", form, forms.ALL_DAYS, rows)
    except Invalid as error:
        messages.error(request, error.message)
        return redirect("outlook-months")


@needs("requirements:read")
@require_GET
def material_file(request: Any, pk: int, form: str) -> HttpResponse:
    """Hand out the days of one material."""
    found = get_object_or_404(Material, pk=pk)
    (row,) = queries.rows(request.site, days=_days(request), material_ids=[found.pk])
    return download(f"outlook-{found.code}", form, forms.DAILY, list(forms.daily_cells(row)))
