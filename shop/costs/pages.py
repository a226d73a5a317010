"""The page of costs: what castings cost, and what was lost."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from shared import clock, lists
from shared.api.permissions import needs
from shared.errors import Invalid
from shop.costs import months, queries
from shop.materials.models import Material
from shop.outlook import months as outlook


@needs("prices:read")
@require_GET
def costs(request: Any) -> HttpResponse:
    """Show a month's castings with their cost, a year's losses, and what is out of date now."""
    today = clock.today(request.site)
    try:
        first, last = months.month(request.GET.get("month"), today)
    except Invalid as error:
        messages.error(request, f"{error.message} Showing this month.")
        first, last = months.month(None, today)
    year_ago, _ = months.back(None, today)
    castings = queries.costs(request.site, first, last)
    listed = lists.found_among(request, castings, text=lambda row: str(row.label))
    return render(
        request,
        "shop/costs/costs.html",
        {
            "month": f"{first:%Y-%m}",
            "first": first,
            "castings": listed.page,
            "page": listed.page,
            "found": listed,
            "losses": queries.losses(request.site, year_ago, today),
            "ahead": outlook.expiries(request.site),
            "stale": queries.stale_stock(request.site, today),
            "materials": {one.code: one for one in Material.objects.all()},
        },
    )
