"""Goods in by page: a hand scanner, a phone's camera, typing, or a CSV file."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.ledger.goods_csv import COLUMNS, read_goods
from shop.ledger.goods_in import MOST_CONTAINERS, Goods, Pack, Received, receive_goods
from shop.materials.camera import read_codes
from shop.materials.models import LearnedCode, Material, Supplier
from shop.materials.scanning import GoodsScan, read_goods_scan
from shop.sites.models import Location


@needs("movements:write")
@require_safe
def goods_in(request: Any) -> HttpResponse:
    """Offer the form, filled in with what a scanned label says."""
    scan = request.GET.get("scan", "").replace("\0", "")
    supplier = request.GET.get("supplier", "")
    found, problem = None, None
    if scan:
        try:
            found = read_goods_scan(scan, clock.today(request.site), forms.row_id(supplier))
        except Invalid as error:
            problem = error
    return _form(request, scan=scan, supplier=supplier, found=found, problem=problem)


def _form(
    request: Any,
    *,
    scan: str = "",
    supplier: str = "",
    found: GoodsScan | None = None,
    problem: ShopError | None = None,
    typed: Any = None,
    status: int = 200,
) -> HttpResponse:
    filled = typed or {}
    if found is not None and not typed:
        supplier = str(found.supplier_id or supplier)
        filled = {
            "material": str(found.material.pk) if found.material else "",
            "lot_code": found.lot_code or "",
            "made_on": found.made_on.isoformat() if found.made_on else "",
            "expires_on": found.expires_on.isoformat() if found.expires_on else "",
            "quantity": f"{found.quantity.normalize():f}" if found.quantity else "",
            "containers": str(found.count or 1),
        }
    return render(
        request,
        "shop/stock/goods_in.html",
        {
            "scan": scan,
            "found": found,
            "problem": problem,
            "filled": {"supplier": supplier, "containers": "1", **dict(filled.items())},
            "materials": Material.objects.order_by("name"),
            "suppliers": Supplier.objects.order_by("name"),
            "shelves": Location.objects.filter(site=request.site, in_use=True),
            "columns": COLUMNS,
            "key": filled.get("key") or uuid4().hex,
        },
        status=status,
    )


@needs("movements:write")
@require_POST
def photo(request: Any) -> HttpResponse:
    """Read the label on a photo and go on with what it says."""
    try:
        if "photo" not in request.FILES:
            raise Invalid.one("photo", "required", "photo is missing; take one.")
        codes = read_codes(request.FILES["photo"])
    except ShopError as error:
        messages.error(request, error.message)
        return redirect("goods-in")
    # A GS1 code says more than any other code on the same label.
    best = max(codes, key=lambda code: (code.startswith("]d2"), len(code)))
    query = {"scan": best, "supplier": request.POST.get("supplier", "")}
    return redirect(f"{reverse('goods-in')}?{urlencode(query)}")


@needs("movements:write")
@require_POST
def take_in(request: Any) -> HttpResponse:
    """Take in one lot as typed; a code that was not known may be learned with it."""
    try:
        with transaction.atomic():
            goods = _typed(request)
            received = receive_goods(
                site=request.site,
                goods=[goods],
                key=f"page:{forms.text(request.POST, 'key', 64)}",
                received_at=clock.now(),
                by=request.user,
            )
            _learn(request, goods)
    except ShopError as error:
        return _form(
            request,
            scan=request.POST.get("scan", ""),
            problem=error,
            typed=request.POST,
            status=422,
        )
    return _tell(request, received)


def _typed(request: Any) -> Goods:
    post = request.POST
    material = forms.chosen(post, "material", Material.objects.all())
    lot_code = forms.text(post, "lot_code", 40)
    if material is None or not lot_code:
        words = "material and lot_code must be given; read them from the label."
        raise Invalid.one("material" if material is None else "lot_code", "required", words)
    shelves = Location.objects.filter(site=request.site, in_use=True)
    each = forms.number(post, "quantity", material.unit)
    count = forms.whole(post, "containers", MOST_CONTAINERS)
    return Goods(
        material=material,
        lot_code=lot_code,
        containers=[Pack(each, forms.chosen(post, "location", shelves))] * count,
        supplier=forms.chosen(post, "supplier", Supplier.objects.all()),
        made_on=forms.day(post, "made_on"),
        expires_on=forms.day(post, "expires_on"),
        certificate=forms.text(post, "certificate"),
    )


def _learn(request: Any, goods: Goods) -> None:
    scan = forms.text(request.POST, "scan", 120)
    if request.POST.get("learn") != "1" or not scan or goods.supplier is None:
        return
    LearnedCode.objects.update_or_create(
        supplier=goods.supplier,
        text=scan,
        defaults={
            "material": goods.material,
            "content": goods.containers[0].quantity,
            "learned_at": clock.now(),
            "by": request.user,
        },
    )


def _tell(request: Any, received: tuple[Received, ...]) -> HttpResponse:
    for one in received:
        words = f"Lot {one.lot.code}: {len(one.containers)} containers taken in"
        waits = one.lot.status == "quarantine"
        messages.success(request, f"{words}{', in quarantine until checked' if waits else ''}.")
        for warning in one.warnings:
            messages.warning(request, warning)
    if len(received) == 1:
        return redirect("lot", received[0].lot.pk)
    return redirect("lots")


@needs("movements:write")
@require_POST
def load_file(request: Any) -> HttpResponse:
    """Take in a CSV file, all or nothing; with `try` only say whether it would go."""
    try:
        if "file" not in request.FILES:
            raise Invalid.one("file", "required", "file is missing; choose a CSV file.")
        with transaction.atomic():
            goods = read_goods(request.FILES["file"].read(), request.site)
            received = receive_goods(
                site=request.site,
                goods=goods,
                key=f"page:{forms.text(request.POST, 'key', 64)}",
                received_at=clock.now(),
                by=request.user,
            )
            trial = request.POST.get("try") == "1"
            transaction.set_rollback(trial)
    except ShopError as error:
        return _form(request, problem=error, status=422)
    if trial:
        messages.success(request, f"{len(goods)} lots would be taken in; nothing was changed.")
        return redirect("goods-in")
    return _tell(request, received)
