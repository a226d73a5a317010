"""Pages: stock by material, lots, one lot with what may be done to it."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.db.models import F, Q
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from shared import clock, lists
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid
from shop.ledger.buttons import BUTTONS
from shop.ledger.models import Movement, Reservation
from shop.ledger.queries import SOON, stock_levels
from shop.lots.models import Container, Lot, LotStatus
from shop.lots.queries import clocks, container_info
from shop.lots.storage import breaches
from shop.materials.models import Material, MaterialKind
from shop.page_buttons import do
from shop.page_forms import row_id
from shop.recalls.queries import in_force
from shop.sites.models import Location
from shop.sums import exact_sum
from shop.trace import sides

ON_A_PAGE = 50
TAKINGS = (
    ("split", "Split into a new container", ""),
    ("sample", "Take a sample", "What for"),
    ("scrap", "Scrap", "Why"),
    ("return", "Return to the supplier", "Why"),
)
"""Buttons that move a quantity: button, title, and what the reason is asked as."""
LATEST = 60
"""Movements shown on a lot's page; the rest are read through the API."""


@needs("lots:read")
@require_GET
def stock(request: Any) -> HttpResponse:
    """Show what the site holds of each material."""
    kind = request.GET.get("kind", "")
    narrow = {"kind": kind} if kind in MaterialKind.values else {}
    levels = stock_levels(request.site, clock.now(), **narrow)
    if request.GET.get("all") != "1":
        levels = [level for level in levels if level.total]
    listed = lists.found_among(
        request,
        levels,
        text=lambda level: f"{level.material.name} {level.material.code}",
        orders=(
            ("", "as usual", None),
            ("name", "name", lambda level: level.material.name.lower()),
            ("code", "code", lambda level: level.material.code.lower()),
        ),
    )
    may_receive = request.access.may("movements:write", request.site.pk)
    return render(
        request,
        "shop/stock/stock.html",
        {
            "levels": listed.page,
            "page": listed.page,
            "found": listed,
            "kind": kind,
            "kinds": MaterialKind.choices,
            "days": SOON.days,
            "may_receive": may_receive,
        },
    )


@needs("lots:read")
@require_GET
def find(request: Any) -> HttpResponse:
    """Go to what a scanned or typed code names; several lots of one code are listed."""
    code = request.GET.get("code", "").replace("\0", "").strip()
    try:
        return redirect(find_code(request.site, code, access=request.access).address)
    except Invalid as error:
        if Lot.objects.filter(site=request.site, code__iexact=code).count() > 1:
            return redirect(f"{reverse('lots')}?{urlencode({'q': code})}")
        messages.warning(request, error.message)
        return redirect("stock")


@needs("lots:read")
@require_GET
def container(request: Any, pk: int) -> HttpResponse:
    """Go from the code on a label to the lot's page."""
    found = get_object_or_404(Container, pk=pk, lot__site=request.site)
    return redirect(f"{reverse('lot', args=[found.lot_id])}?container={found.pk}")


@needs("lots:read")
@require_GET
def lots(request: Any) -> HttpResponse:
    """List lots, by what is asked for."""
    rows = Lot.objects.filter(site=request.site).select_related("material", "supplier")
    names = ("q", "status", "material", "shelf")
    asked = {name: request.GET.get(name, "").replace("\0", "").strip() for name in names}
    if asked["q"]:
        match = Q(code__icontains=asked["q"]) | Q(containers__code__icontains=asked["q"])
        rows = rows.filter(match | Q(material__name__icontains=asked["q"])).distinct()
    if asked["status"] in LotStatus.values:
        rows = rows.filter(status=asked["status"])
    elif not asked["q"]:
        rows = rows.exclude(status=LotStatus.FINISHED)
    if (material := row_id(asked["material"])) is not None:
        rows = rows.filter(material=material)
    if (shelf := row_id(asked["shelf"])) is not None:
        on_it = Container.objects.filter(location=shelf, balance__gt=0)
        rows = rows.filter(pk__in=on_it.values("lot"))
    listed = lists.found(
        request,
        rows,
        search=(),
        orders=(
            ("expiry", "first to expire first", (F("expires_on").asc(nulls_last=True), "code")),
            ("code", "lot", ("code", "id")),
            ("material", "material", ("material__name", "code")),
            ("received", "latest first", ("-received_on", "-id")),
        ),
    )
    page = listed.page
    held = Container.objects.filter(lot__in=[lot.pk for lot in page]).order_by()
    sums = held.values_list("lot").annotate(total=exact_sum("balance"))
    balances = dict(sums)
    today = clock.today(request.site)
    return render(
        request,
        "shop/stock/lots.html",
        {
            "page": page,
            "rows": [
                (lot, balances.get(lot.pk, 0), bool(lot.expires_on and lot.expires_on < today))
                for lot in page
            ],
            "asked": asked,
            "found": listed,
            "statuses": LotStatus.choices,
            "materials": Material.objects.order_by("name"),
            "shelves": Location.objects.filter(site=request.site, in_use=True),
        },
    )


@needs("lots:read")
@require_GET
def lot(request: Any, pk: int) -> HttpResponse:
    """Show a lot: clocks, containers, movements, where it went, what may be done."""
    found = _lot(request, pk)
    held = list(found.containers.select_related("lot__site", "lot__material", "location"))
    moves = Movement.objects.filter(container__lot=found).select_related("container", "by")
    latest = list(moves.select_related("reversed_by").order_by("-id")[:LATEST])
    promised = Reservation.objects.filter(container__lot=found).select_related("container")
    reserved = list(promised)
    may = request.access.may
    return render(
        request,
        "shop/stock/lot.html",
        {
            "lot": found,
            "today": clock.today(request.site),
            "containers": [(row, container_info(row), clocks(row)) for row in held],
            "chosen": request.GET.get("container", ""),
            "moves": latest,
            "more": moves.count() > LATEST,
            "sides": sides.sides(row.counterpart for row in latest),
            "reservations": reserved,
            "purposes": sides.purposes(row.purpose for row in reserved),
            "breaches": breaches(found),
            "recalls": in_force(
                site_id=found.site_id, material_id=found.material_id, lot_code=found.code
            ).select_related("by"),
            "shelves": Location.objects.filter(site=request.site, in_use=True),
            "may_lots": may("lots:write", request.site.pk),
            "may_release": may("releases:write", request.site.pk),
            "may_lengthen": may("shelf_life:write", request.site.pk),
            "may_move": may("movements:write", request.site.pk),
            "may_price": may("prices:read", request.site.pk),
            "takings": TAKINGS,
            "key": uuid4().hex,
        },
    )


def _lot(request: Any, pk: int) -> Lot:
    rows = Lot.objects.select_related("site", "material", "supplier", "retested_by")
    return get_object_or_404(rows, pk=pk, site=request.site)


@needs("lots:read")
@require_GET
def certificate(request: Any, pk: int) -> Any:
    """Hand out the supplier's certificate of a lot."""
    found = _lot(request, pk)
    if not found.certificate_file:
        raise Http404("No certificate is kept with this lot.")
    return FileResponse(found.certificate_file.open("rb"), as_attachment=True)


@needs("lots:read")
@require_POST
def button(request: Any, pk: int, button: str) -> HttpResponse:
    """Do one thing to a lot, as its button says."""
    return do(request, BUTTONS, button, _lot(request, pk), ("lot", pk))
