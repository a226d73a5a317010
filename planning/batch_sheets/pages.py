"""The day's sheet for the printer: as a page, and as a PDF."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from planning.batch_sheets import actions, queries, words
from planning.batch_sheets.pdf import sheet_pdf as make_pdf
from planning.batches.printed import printed
from shared import clock
from shared.api.permissions import needs


@needs("batches:read")
def sheet(request: HttpRequest, day: date) -> HttpResponse:
    """Show the sheet; a POST hands out its paper, which fixes its batches."""
    now = clock.now()
    if request.method == "POST":
        if request.access.may("batches:write", request.site.pk):
            actions.mark_printed(site=request.site, day=day, now=now, by=request.user)
        return redirect("sheet-pdf", day)
    found = queries.sheet(site=request.site, day=day, now=now)
    return render(
        request,
        "planning/batch_sheets/sheet.html",
        {
            "sheet": found,
            "batches": [_with_words(row, found["site"]["time_zone"]) for row in found["batches"]],
            "address": request.build_absolute_uri("/").rstrip("/"),
            "demould_not_before": words.DEMOULD_NOT_BEFORE,
            "now": now,
        },
    )


def _with_words(row: dict[str, Any], zone: str) -> dict[str, Any]:
    figures = printed(row)
    lines = zip(row["lines"], figures.targets, figures.lows, figures.highs, strict=True)
    return {
        "row": row,
        "figures": figures,
        "work": words.work_of(row),
        "hardener_rule": words.hardener_rule(row),
        "lines": [
            {"row": line, "target": target, "low": low, "high": high}
            for line, target, low, high in lines
        ],
        "portions": [
            {
                "row": portion,
                "kg": kg,
                "how": words.how_of(portion),
                "after": words.after_of(portion, zone),
            }
            for portion, kg in zip(row["portions"], figures.portions, strict=True)
        ],
    }


@needs("batches:read")
def sheet_pdf(request: HttpRequest, day: date) -> HttpResponse:
    """Hand out the sheet as a PDF; looking at it does not fix the batches."""
    now = clock.now()
    found = queries.sheet(site=request.site, day=day, now=now, on_paper=True)
    data = make_pdf(found, printed_at=now, address=request.build_absolute_uri("/").rstrip("/"))
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="batch-sheet-{day:%Y-%m-%d}.pdf"'
    return answer
