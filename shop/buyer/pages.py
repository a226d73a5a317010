"""Pages: the buyer's figures, a table each, and the same as files."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from shared import clock, lists
from shared.api.permissions import needs
from shared.errors import Invalid
from shared.export import download
from shop.buyer import queries
from shop.buyer.picture import worth_picture
from shop.buyer.tables import BY_SLUG, TABLES, USUAL_MONTHS, Table, days_of, months_asked


def _asked(request: Any) -> int:
    try:
        return months_asked(request.GET.get("months"))
    except Invalid as error:
        messages.error(request, f"{error.message} Showing {USUAL_MONTHS} months.")
        return USUAL_MONTHS


def _table(slug: str) -> Table:
    if slug not in BY_SLUG:
        raise Http404
    return BY_SLUG[slug]


@needs("prices:read")
@require_GET
def figures(request: Any, figure: str = TABLES[0].slug) -> HttpResponse:
    """Show one table of the buyer's."""
    table, months = _table(figure), _asked(request)
    today = clock.today(request.site)
    rows = table.rows(request.site, months, today)
    listed = lists.found_among(
        request, rows, text=lambda row: " ".join(str(cell) for cell in row if cell is not None)
    )
    picture = None
    if table.slug == "stock-worth":
        picture = worth_picture(queries.stock_worth(request.site, days_of(months), today))
    numbers = [column.kind == "number" for column in table.columns]
    return render(
        request,
        "shop/buyer/figures.html",
        {
            "table": table,
            "tables": TABLES,
            "months": months,
            "heads": list(zip(table.heads, numbers, strict=True)),
            "rows": [list(zip(row, table.heads, numbers, strict=True)) for row in listed.page],
            "page": listed.page,
            "found": listed,
            "picture": picture,
        },
    )


@needs("prices:read")
@require_GET
def figures_file(request: Any, figure: str, form: str) -> HttpResponse:
    """Hand out one table of the buyer's as a file."""
    table, months = _table(figure), _asked(request)
    today = clock.today(request.site)
    rows = table.rows(request.site, months, today)
    return download(
        f"{table.slug}-{request.site.code}-{today.isoformat()}", form, table.columns, rows
    )
