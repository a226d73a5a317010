"""
Goods in by page: a hand scanner, a phone's camera, typing, or a CSV file.

What is on order is received against its order line, so that the order knows what came.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.db import transaction
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from shared import clock
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.ledger.goods_csv import COLUMNS, read_goods
from shop.ledger.goods_in import MOST_CONTAINERS, Goods, Pack, Received, receive_goods
from shop.lots import actions as lots
from shop.lots.models import Lot
from shop.materials.camera import read_codes
from shop.materials.models import LearnedCode, Material
from shop.materials.scanning import GoodsScan, read_goods_scan
from shop.materials.suppliers import Supplier
from shop.purchasing import actions, queries
from shop.purchasing.errors import OverDelivery
from shop.purchasing.models import PurchaseOrderLine
from shop.purchasing.queries import LineState
from shop.sites.models import Location


@needs("movements:write")
@require_safe
def goods_in(request: Any) -> HttpResponse:
    """Offer the form, filled in with what a scanned label says."""
    scan = request.GET.get("scan", "").replace("\0", "")
    supplier = request.GET.get("supplier", "")
    found, problem = None, None
    line = request.GET.get("line", "")
    if scan:
        waiting = _chosen(queries.open_lines(request.site.pk), line)
        seller = waiting.line.order.supplier_id if waiting else forms.row_id(supplier)
        try:
            found = read_goods_scan(scan, clock.today(request.site), seller)
            if found.material is None and waiting:
                # An item number of another supplier may still say that these are other goods.
                other = read_goods_scan(scan, clock.today(request.site))
                found = other if other.material else found
        except Invalid as error:
            found = _of_own_label(request, scan)
            problem = None if found else error
    return _form(request, scan=scan, supplier=supplier, found=found, problem=problem, line=line)


def _of_own_label(request: Any, scan: str) -> GoodsScan | None:
    """Read the shop's own label of a can or lot as more goods of that lot."""
    try:
        named = find_code(request.site, scan, wanted=("can", "lot"))
    except Invalid:
        return None
    own = Q(containers=named.pk) if named.kind == "can" else Q(pk=named.pk)
    lot = Lot.objects.select_related("material").get(own)
    words = (
        f"this is the shop's own label of {named.words}; take in only what has come in new, and "
        "compare the lot with what the supplier's label says"
    )
    return GoodsScan(
        scan, lot.material, lot.supplier_id, None, lot.code, lot.made_on, lot.expires_on, None,
        None, (words,),
    )  # fmt: skip


def _form(
    request: Any,
    *,
    scan: str = "",
    supplier: str = "",
    found: GoodsScan | None = None,
    problem: ShopError | None = None,
    typed: Any = None,
    line: str = "",
    status: int = 200,
) -> HttpResponse:
    filled = typed or {}
    lines = queries.open_lines(request.site.pk)
    fitting = _fitting(lines, found)
    chosen = _chosen(lines, line)
    if chosen and found and found.material and found.material.pk != chosen.line.material_id:
        messages.warning(
            request,
            f"The label is of {found.material}; {chosen.line.order} asks for "
            f"{chosen.line.material}. Check what came before you take it in.",
        )
        chosen = None
    chosen = chosen or (fitting[0] if fitting else None)
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
    if chosen is not None and not typed:
        filled = _from_line(chosen, filled)
    return render(
        request,
        "shop/stock/goods_in.html",
        {
            "scan": scan,
            "found": found,
            "problem": problem,
            "posted": typed is not None,
            "filled": {"supplier": supplier, "containers": "1", **dict(filled.items())},
            "lines": lines,
            "also_fitting": [one for one in fitting if one is not chosen],
            "chosen": chosen if not typed else _chosen(lines, typed.get("line", "")),
            "over": isinstance(problem, OverDelivery),
            "today": clock.today(request.site),
            "may_orders": request.access.may("purchases:read", request.site.pk),
            "materials": Material.objects.order_by("name"),
            "suppliers": Supplier.objects.order_by("name"),
            "shelves": Location.objects.filter(site=request.site, in_use=True),
            "columns": COLUMNS,
            "key": filled.get("key") or uuid4().hex,
        },
        status=status,
    )


def _fitting(lines: Sequence[LineState], found: GoodsScan | None) -> list[LineState]:
    """Return the open lines that ask for what was scanned, the first due first."""
    if found is None or found.material is None:
        return []
    return [
        one
        for one in lines
        if one.line.material_id == found.material.pk
        and found.supplier_id in (None, one.line.order.supplier_id)
    ]


def _chosen(lines: Sequence[LineState], typed: str) -> LineState | None:
    key = forms.row_id(typed)
    return next((one for one in lines if one.line.pk == key), None)


def _from_line(one: LineState, filled: dict[str, str]) -> dict[str, str]:
    """Fill in from the order what the label left open; the label itself comes first."""
    line = one.line
    said = {name: value for name, value in filled.items() if value}
    count = {} if said.get("quantity") else {"containers": str(one.open_packs)}
    return {
        "quantity": f"{line.content.normalize():f}",
        **said,
        **count,
        "line": str(line.pk),
        "material": str(line.material_id),
        "supplier": str(line.order.supplier_id),
    }


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
        file = request.FILES.get("certificate_file")
        certificate = None if file is None else lots.read_certificate(file)
        with transaction.atomic():
            goods = _typed(request)
            line = _line(request)
            received = _received(request, goods, line)
            _learn(request, goods)
            if certificate is not None:
                lots.attach_certificate(
                    received[0].lot.pk, certificate=certificate, words=goods.certificate
                )
    except ShopError as error:
        return _form(
            request,
            scan=request.POST.get("scan", ""),
            problem=error,
            typed=request.POST,
            status=422,
        )
    _tell_order(request, goods, line)
    return _tell(request, received)


def _line(request: Any) -> PurchaseOrderLine | None:
    rows = PurchaseOrderLine.objects.filter(order__site=request.site)
    return forms.chosen(request.POST, "line", rows.select_related("order__supplier", "material"))


def _received(request: Any, goods: Goods, line: PurchaseOrderLine | None) -> tuple[Received, ...]:
    """Take one lot in, against its order line where one was chosen."""
    key, now = f"page:{forms.text(request.POST, 'key', 64)}", clock.now()
    if line is None:
        return receive_goods(
            site=request.site, goods=[goods], key=key, received_at=now, by=request.user
        )
    if goods.material.pk != line.material_id:
        words = (
            f"line asks for {line.material}, the goods are {goods.material}. Choose the order "
            "that asks for them, or “not ordered”."
        )
        raise Invalid.one("line", "other_material", words, value=line.pk)
    if goods.supplier is not None and goods.supplier.pk != line.order.supplier_id:
        words = (
            f"supplier is {goods.supplier}; {line.order} is from {line.order.supplier}. Choose "
            "the right order, or “not ordered”."
        )
        raise Invalid.one("supplier", "differs", words, value=goods.supplier.pk)
    return actions.receive(
        order=line.order,
        goods=[(line.pk, goods)],
        key=key,
        received_at=now,
        by=request.user,
        accept_over=request.POST.get("accept_over") == "1",
    )


def _tell_order(request: Any, goods: Goods, line: PurchaseOrderLine | None) -> None:
    """Say what the order still expects, or that an order may have been overlooked."""
    if line is None:
        waiting = [
            one.line.order.number
            for one in queries.open_lines(request.site.pk)
            if one.line.material_id == goods.material.pk
            and (goods.supplier is None or goods.supplier.pk == one.line.order.supplier_id)
        ]
        if waiting:
            messages.warning(
                request,
                f"Taken in without an order, yet {', '.join(waiting)} expects {goods.material}. "
                "If these are its goods, undo the receipt on the lot's page and choose the order.",
            )
        return
    came, coming = queries.received([line])[line.pk], line.coming_quantity
    unit = line.material.unit
    words = f"{line.order}: {came.normalize():f} of {coming.normalize():f} {unit} have come in"
    if came < coming:
        messages.info(request, f"{words}, {(coming - came).normalize():f} {unit} still to come.")
    elif came > coming:
        messages.warning(
            request, f"{words}: {(came - coming).normalize():f} {unit} too much, kept."
        )
    else:
        messages.success(request, f"{words}, as ordered.")


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
        count = len(one.containers)
        words = f"Lot {one.lot.code}: {count} container{'' if count == 1 else 's'} taken in"
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
