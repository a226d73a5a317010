"""Page: close the shop on public holidays."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid
from shop.setup import holidays
from shop.sites.models import ClosedDay


@needs("availability:write")
@require_http_methods(["GET", "HEAD", "POST"])
def public_holidays(request: Any) -> HttpResponse:
    """Show the public holidays of a country and year; close the shop on those chosen."""
    today = clock.today(request.site)
    asked = request.POST if request.method == "POST" else request.GET
    chosen = {name: asked.get(name, "").strip()[:20] for name in ("country", "region", "year")}
    days, problem = [], None
    if chosen["country"]:
        try:
            year = int(chosen["year"]) if chosen["year"].isdecimal() else 0
            days = holidays.public(chosen["country"], chosen["region"], year, today)
        except Invalid as error:
            problem = error
    if request.method == "POST" and problem is None:
        wanted = set(request.POST.getlist("day"))
        new = holidays.close(request.site, [one for one in days if one[0].isoformat() in wanted])
        messages.success(request, f"{new} more days are closed. Plan again if they are near.")
        return redirect("setup-register", "closed-days")
    there = set(
        ClosedDay.objects.filter(site=request.site, day__in=[day for day, _ in days]).values_list(
            "day", flat=True
        )
    )
    return render(
        request,
        "shop/setup/holidays.html",
        {
            "countries": holidays.countries(),
            "regions": holidays.regions(chosen["country"]) if chosen["country"] else [],
            "years": range(today.year, today.year + holidays.YEARS_AHEAD + 1),
            "chosen": chosen,
            "problem": problem,
            "days": [(day, name, day in there, day < today) for day, name in days],
        },
        status=422 if problem else 200,
    )
