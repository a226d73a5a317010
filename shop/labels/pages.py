"""Labels: choose containers and a size, get a PDF."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.labels.layouts import LAYOUTS
from shop.labels.pdf import MOST, labels_pdf
from shop.lots.models import Container

MOST_SHOWN = 200


def _containers(request: Any) -> Any:
    rows = Container.objects.filter(lot__site=request.site)
    rows = rows.select_related("lot__material", "location")
    return rows.prefetch_related("lot__material__packs").order_by("lot__code", "code")


@needs("lots:read")
@require_safe
def labels(request: Any) -> HttpResponse:
    """Offer the containers of a lot, or the latest ones, and the sizes."""
    lot = request.GET.get("lot", "")
    rows = _containers(request)
    if (lot_id := forms.row_id(lot)) is not None:
        rows = rows.filter(lot=lot_id)
    else:
        rows = rows.filter(balance__gt=0).order_by("-pk")
    return render(
        request,
        "shop/labels/labels.html",
        {
            "rows": rows[:MOST_SHOWN],
            "lot": lot,
            "layouts": LAYOUTS.values(),
            "most": MOST,
        },
    )


@needs("lots:read")
@require_safe
def labels_file(request: Any) -> HttpResponse:
    """Hand out the labels of the ticked containers."""
    try:
        layout = LAYOUTS.get(request.GET.get("layout", ""))
        if layout is None:
            words = f"layout must be one of {', '.join(LAYOUTS)}."
            raise Invalid.one("layout", "invalid_choice", words)
        ids = [forms.row_id(pk) for pk in request.GET.getlist("container")][: MOST + 1]
        first = forms.whole({"first": request.GET.get("first", "1")}, "first", 500)
        rows = list(_containers(request).filter(pk__in=[pk for pk in ids if pk is not None]))

        def address(container: Container) -> str:
            return request.build_absolute_uri(reverse("container", args=[container.pk]))

        data = labels_pdf(rows, layout, address, first_place=first)
    except ShopError as error:
        return render(request, "shop/labels/refused.html", {"problem": error}, status=422)
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return answer
