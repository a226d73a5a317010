"""Labels: choose cans, tools, shelves or places and a size, get a PDF."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from shared import lists
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.labels.layouts import LAYOUTS
from shop.labels.pdf import MOST, Label, can_label, labels_pdf, plain_label
from shop.lots.models import Container
from shop.sites.models import Location, Place
from shop.tools.models import Tool


def _containers(site: Any) -> Any:
    rows = Container.objects.filter(lot__site=site)
    rows = rows.select_related("lot__material", "location")
    return rows.prefetch_related("lot__material__packs").order_by("lot__code", "code")


@dataclass(frozen=True)
class Sort:
    """A sort of things that get labels: its rows at a site, and the label of one of them."""

    title: str
    rows: Callable[[Any], Any]
    label: Callable[[Any, str], Label]


def _plain(kind: str, title: str, model: Any) -> Sort:
    def rows(site: Any) -> Any:
        return model.objects.filter(site=site).order_by("code")

    def label(row: Any, base: str) -> Label:
        return plain_label(kind, row.pk, row.code, row.name, base)

    return Sort(title, rows, label)


SORTS = {
    "can": Sort("Containers", _containers, can_label),
    "tool": _plain("tool", "Tools", Tool),
    "shelf": _plain("shelf", "Shelves", Location),
    "place": _plain("place", "Places", Place),
}


def _sort(request: Any) -> tuple[str, Sort]:
    name = request.GET.get("of", "can")
    return (name, SORTS[name]) if name in SORTS else ("can", SORTS["can"])


@needs("lots:read")
@require_safe
def labels(request: Any) -> HttpResponse:
    """Offer the containers of a lot, the latest ones, or tools, shelves and places."""
    name, sort = _sort(request)
    lot = request.GET.get("lot", "")
    rows = sort.rows(request.site)
    if name == "can":
        if (lot_id := forms.row_id(lot)) is not None:
            rows = rows.filter(lot=lot_id)
        else:
            rows = rows.filter(balance__gt=0)
    of_cans = name == "can"
    usual = ("lot__code", "code") if lot or not of_cans else ("-pk",)
    listed = lists.found(
        request,
        rows,
        search=("code", "lot__code", "lot__material__name") if of_cans else ("code", "name"),
        orders=(("", "as usual", usual if of_cans else ("code",)), ("code", "code", ("code",))),
    )
    return render(
        request,
        "shop/labels/labels.html",
        {
            "rows": listed.page,
            "page": listed.page,
            "found": listed,
            "of": name,
            "sort": sort,
            "sorts": [(key, one.title) for key, one in SORTS.items()],
            "lot": lot,
            "layouts": LAYOUTS.values(),
            "most": MOST,
        },
    )


@needs("lots:read")
@require_safe
def labels_file(request: Any) -> HttpResponse:
    """Hand out the labels of what is ticked."""
    name, sort = _sort(request)
    try:
        layout = LAYOUTS.get(request.GET.get("layout", ""))
        if layout is None:
            words = f"layout must be one of {', '.join(LAYOUTS)}."
            raise Invalid.one("layout", "invalid_choice", words)
        asked = request.GET.getlist("container" if name == "can" else "row")
        ids = [forms.row_id(pk) for pk in asked][: MOST + 1]
        first = forms.whole({"first": request.GET.get("first", "1")}, "first", 500)
        rows = sort.rows(request.site).filter(pk__in=[pk for pk in ids if pk is not None])
        base = request.build_absolute_uri("/").rstrip("/")
        data = labels_pdf([sort.label(row, base) for row in rows], layout, first_place=first)
    except ShopError as error:
        return render(request, "shop/labels/refused.html", {"problem": error}, status=422)
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return answer
