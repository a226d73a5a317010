"""Pages: the shop's set-up, stock and orders as one file, both ways."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from planning.files import actions
from planning.files.sheets import BY_NAME, SHEETS
from shared.api.permissions import needs
from shared.errors import FieldProblem, Invalid, ShopError, file_too_large
from shared.export import XLSX
from shared.workbook_reading import MOST_BYTES


@needs("sites:write")
@require_http_methods(["GET", "HEAD", "POST"])
def files(request: Any) -> HttpResponse:
    """Show what a file holds, take one in, or try one out."""
    error: ShopError | None = None
    done = None
    if request.method == "POST":
        try:
            done = _read(request)
        except ShopError as refused:
            error = refused
        if done is not None and not done.trial:
            messages.success(request, f"The file is read in: {done.rows} rows.")
            return redirect("setup")
    return render(
        request,
        "planning/files/files.html",
        {
            "sheets": SHEETS,
            "done": done,
            "error": error,
            "faults": [_fault(one) for one in getattr(error, "problems", ())],
            "asked": request.POST.get("sheet", ""),
        },
        status=422 if error else 200,
    )


def _read(request: Any) -> actions.Done:
    given = request.FILES.get("file")
    if given is None:
        raise Invalid.one("file", "required", "Choose a file: a workbook (.xlsx) or CSV.")
    if given.size > MOST_BYTES:
        raise file_too_large(given.size, MOST_BYTES, "; split it.")
    sheet = request.POST.get("sheet", "")
    return actions.read_shop_file(
        caller=request,
        site=request.site,
        data=given.read(),
        name=given.name or "",
        sheet=sheet if sheet in BY_NAME else "",
        trial=request.POST.get("trial") == "1",
    )


def _fault(one: FieldProblem) -> dict[str, str]:
    """Return a fault by sheet, row and column, and what is wrong there."""
    parts = [*one.pointer.removeprefix("#/").split("/"), "", ""]
    if parts[0] not in BY_NAME:
        return {"sheet": "", "row": "", "column": "", "words": one.detail}
    sheet, row, column = parts[:3]
    words = one.detail.partition(": ")[2] or one.detail
    return {"sheet": sheet, "row": row, "column": column, "words": words}


@needs("sites:write")
@require_safe
def shop_file(request: Any, what: str, form: str) -> HttpResponse:
    """Hand out the shop, or the sample, as a workbook or as CSV files in an archive."""
    if what not in ("shop", "sample") or form not in ("xlsx", "csv"):
        raise Http404
    if what == "sample":
        data, ending = actions.sample_file(site=request.site, form=form)
    else:
        data, ending = actions.shop_file(caller=request, site=request.site, form=form)
    kind = XLSX if ending == "xlsx" else "application/zip"
    answer = HttpResponse(data, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{what}.{ending}"'
    return answer
