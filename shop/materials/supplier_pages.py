"""Suppliers: how long they take, and the days on which they are closed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.materials.models import Supplier, SupplierClosure
from shop.registers import enter

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@needs("materials:read")
@require_GET
def suppliers(request: Any) -> HttpResponse:
    """List suppliers with their lead times and the closures that are not over."""
    today = clock.today(request.site)
    rows = [
        {
            "supplier": one,
            "weekdays": ", ".join(WEEKDAYS[n - 1] for n in sorted(one.closed_weekdays)),
            "closures": [c for c in one.closures.all() if c.last_day >= today],
        }
        for one in Supplier.objects.prefetch_related("closures").order_by("name")
    ]
    may_change = request.access.may("materials:write", request.site.pk)
    context = {"rows": rows, "may_change": may_change, "today": today}
    return render(request, "shop/materials/suppliers.html", context)


@needs("materials:write")
@require_POST
def close(request: Any, pk: int) -> HttpResponse:
    """Note that a supplier is closed from one day to another."""
    supplier = get_object_or_404(Supplier, pk=pk)
    try:
        first = forms.day(request.POST, "first_day")
        if first is None:
            raise Invalid.one("first_day", "required", "first_day is empty; give the first day.")
        last = forms.day(request.POST, "last_day") or first
        reason = forms.text(request.POST, "reason", 120)
        enter(SupplierClosure, supplier=supplier, first_day=first, last_day=last, reason=reason)
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    except ValidationError as error:
        messages.error(request, f"{' '.join(error.messages)} Nothing was changed.")
    else:
        messages.success(request, f"{supplier} is closed from {first} to {last}.")
    return redirect("suppliers")


@needs("materials:write")
@require_POST
def reopen(request: Any, pk: int) -> HttpResponse:
    """Take a closure back."""
    closure = get_object_or_404(SupplierClosure, pk=pk)
    closure.delete()
    messages.success(
        request, f"{closure.supplier} is open from {closure.first_day} to {closure.last_day}."
    )
    return redirect("suppliers")
