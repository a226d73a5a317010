"""Suppliers: their terms, the packs they sell at what price, the days they are closed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from shared import clock, lists
from shared.api.permissions import must_for_all, needs
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.catalogue.actions import propose
from shop.catalogue.models import ChangeAct
from shop.catalogue.queries import two_signatures
from shop.core.gs1 import sound_gtin
from shop.materials.models import Material, Pack
from shop.materials.suppliers import Supplier, SupplierClosure
from shop.registers import change_or_propose, enter, in_words, remove

SUPPLIERS_A_PAGE = 5
MOST_DAYS, MOST_PACKS = 730, 100_000
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@needs("materials:read")
@require_GET
def suppliers(request: Any) -> HttpResponse:
    """List suppliers with their lead times and the closures that are not over."""
    today = clock.today(request.site)
    listed = lists.found(
        request,
        Supplier.objects.prefetch_related("closures", "packs__material"),
        search=("name", "code", "packs__material__name"),
        orders=(("", "name", ("name", "code")), ("code", "code", ("code",))),
        size=SUPPLIERS_A_PAGE,
    )
    rows = [
        {
            "supplier": one,
            "weekdays": ", ".join(WEEKDAYS[n - 1] for n in sorted(one.closed_weekdays)),
            "closures": [c for c in one.closures.all() if c.last_day >= today],
            "packs": one.packs.all(),
        }
        for one in listed.page
    ]
    may = request.access.may
    may_change = request.access.may_for_all("materials:write")
    may_price = may("prices:read", request.site.pk)
    context = {
        "rows": rows,
        "page": listed.page,
        "found": listed,
        "materials": Material.objects.order_by("name"),
        "may_change": may_change,
        "may_price": may_price,
        "may_orders": may("purchases:read", request.site.pk),
        "may_pack": may_price and may_change,
        "two_signatures": two_signatures(),
        "today": today,
    }
    return render(request, "shop/materials/suppliers.html", context)


def _told(request: Any, work: Callable[[], str]) -> HttpResponse:
    """Do what a form asks, say in a sentence what came of it, and show the page again."""
    try:
        messages.success(request, work())
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    except ValidationError as error:
        messages.error(request, f"{in_words(error)} Nothing was changed.")
    return redirect("suppliers")


@needs("materials:write", for_all=True)
@require_POST
def add(request: Any) -> HttpResponse:
    """Enter a supplier."""

    def work() -> str:
        post = request.POST
        code, name = forms.text(post, "code", 40), forms.text(post, "name", 120)
        days = forms.whole(post, "lead_time_days", MOST_DAYS, least=0)
        return f"{enter(Supplier, code=code, name=name, lead_time_days=days)} is entered."

    return _told(request, work)


@needs("prices:read")
@require_POST
def terms(request: Any, pk: int) -> HttpResponse:
    """Change how a supplier is reached, how long it takes and what an order costs."""
    supplier = get_object_or_404(Supplier, pk=pk)

    def work() -> str:
        post = request.POST
        _may_change(request)
        values = {
            "order_email": forms.text(post, "order_email", 254),
            "lead_time_days": forms.whole(post, "lead_time_days", MOST_DAYS, least=0),
            "lead_time_sd_days": forms.number(post, "lead_time_sd_days", "days"),
            "order_cost": forms.number(post, "order_cost", supplier.currency),
            "least_order": forms.number(post, "least_order", supplier.currency),
            "version": supplier.version + 1,
        }
        reason = forms.text(post, "change_reason", 300)
        _, proposed = change_or_propose(supplier, values, by=request.user, reason=reason)
        if proposed is not None:
            return f"The terms of {supplier} are changed; the e-mail address {RELEASED_LATER}"
        return f"The terms of {supplier} are changed."

    return _told(request, work)


@needs("prices:read")
@require_POST
def add_pack(request: Any, pk: int) -> HttpResponse:
    """Enter a pack, or a lower price from so many packs on."""
    supplier = get_object_or_404(Supplier, pk=pk)

    def work() -> str:
        post = request.POST
        _may_change(request)
        material = forms.chosen(post, "material", Material.objects.all())
        if material is None:
            raise Invalid.one("material", "required", "material is missing; choose one.")
        lead = post.get("lead_time_days", "").strip()
        values = {
            "supplier": supplier,
            "material": material,
            "name": forms.text(post, "name", 60),
            "content": forms.number(post, "content", material.unit),
            "price": forms.number(post, "price", supplier.currency),
            "from_packs": forms.whole(post, "from_packs", MOST_PACKS),
            "least_packs": forms.whole(post, "least_packs", MOST_PACKS),
            "lead_time_days": forms.whole(post, "lead_time_days", MOST_DAYS, 0) if lead else None,
            "gtin": _item_number(post),
            "supplier_item": forms.text(post, "supplier_item", 60),
        }
        if two_signatures():
            pack = Pack(**values)
            _propose(request, pack, values, ChangeAct.ADD)
            return f"{pack} {RELEASED_LATER}"
        return f"{enter(Pack, **values)} is entered for {supplier}."

    return _told(request, work)


@needs("prices:read")
@require_POST
def remove_pack(request: Any, pk: int) -> HttpResponse:
    """Take a pack off a supplier's list; orders keep what they say."""
    pack = get_object_or_404(Pack.objects.select_related("supplier", "material"), pk=pk)

    def work() -> str:
        _may_change(request)
        if two_signatures():
            _propose(request, pack, {}, ChangeAct.REMOVE)
            return f"Taking {pack} off the list {RELEASED_LATER}"
        remove(pack)
        return f"{pack} is off the list of {pack.supplier}."

    return _told(request, work)


RELEASED_LATER = "is proposed; somebody else releases it under Changes to the catalogue."


def _propose(request: Any, pack: Pack, values: dict[str, Any], act: str) -> None:
    propose(
        row=pack,
        values=values,
        by=request.user,
        reason=forms.text(request.POST, "change_reason", 300),
        now=clock.now(),
        act=act,
    )


def _item_number(post: Any) -> str:
    typed = forms.text(post, "gtin", 14)
    if typed and not sound_gtin(typed):
        words = (
            f"gtin is {typed!r}; type the 8, 12, 13 or 14 digits under the bars, the last of "
            "which is their check digit."
        )
        raise Invalid.one("gtin", "check_digit", words, value=typed)
    return typed


def _may_change(request: Any) -> None:
    must_for_all(request, "materials:write")


@needs("materials:write", for_all=True)
@require_POST
def close(request: Any, pk: int) -> HttpResponse:
    """Note that a supplier is closed from one day to another."""
    supplier = get_object_or_404(Supplier, pk=pk)

    def work() -> str:
        first = forms.day(request.POST, "first_day")
        if first is None:
            raise Invalid.one("first_day", "required", "first_day is empty; give the first day.")
        last = forms.day(request.POST, "last_day") or first
        reason = forms.text(request.POST, "reason", 120)
        enter(SupplierClosure, supplier=supplier, first_day=first, last_day=last, reason=reason)
        return f"{supplier} is closed from {first} to {last}."

    return _told(request, work)


@needs("materials:write", for_all=True)
@require_POST
def reopen(request: Any, pk: int) -> HttpResponse:
    """Take a closure back."""
    closure = get_object_or_404(SupplierClosure, pk=pk)
    closure.delete()
    messages.success(
        request, f"{closure.supplier} is open from {closure.first_day} to {closure.last_day}."
    )
    return redirect("suppliers")
