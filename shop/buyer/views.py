"""REST: the buyer's figures, under /api/v1/buyer-figures."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from shared import clock
from shared.errors import Invalid
from shop.buyer.tables import BY_SLUG, Table, months_asked
from shop.costs.months import MOST_MONTHS
from shop.costs.views import SITE, CostView
from shop.page_forms import whole

MOST_ROWS = 200


class BuyerFiguresView(CostView):
    """How suppliers deliver, prices at receipt, slow movers, worth of stock, mixes."""

    extra_parameters: ClassVar = ("site", "figure", "months", "after")

    @extend_schema(
        operation_id="buyer_figures",
        parameters=[
            SITE,
            OpenApiParameter("figure", str, required=True, enum=list(BY_SLUG)),
            OpenApiParameter("months", {"type": "integer", "minimum": 1, "maximum": MOST_MONTHS}),
            OpenApiParameter(
                "after", {"type": "integer", "minimum": 0},
                description=f"Rows to pass over; at most {MOST_ROWS} are answered at once.",
            ),
        ],
        responses={200: OpenApiTypes.OBJECT},
    )  # fmt: skip
    def get(self, request: Any) -> Response:
        """Return the rows of one table, by the names of its file's columns."""
        site = self.site(request.query_params.get("site"))
        table = self.asked(lambda given, _: _table(given), "figure", site)
        months = self.asked(lambda given, _: months_asked(given), "months", site)
        after = self.asked(lambda given, _: _passed_over(given), "after", site)
        rows = table.rows(site, months, clock.today(site))
        names = [column.name for column in table.columns]
        shown = rows[after : after + MOST_ROWS]
        end = after + len(shown)
        return Response(
            {
                "site": site.code,
                "months": months,
                "items": [dict(zip(names, map(_plain, row), strict=True)) for row in shown],
                "next_after": end if end < len(rows) else None,
            }
        )


def _table(given: str | None) -> Table:
    found = BY_SLUG.get(given or "")
    if found is None:
        words = f"figure is {(given or '')[:40]!r}; it must be one of: {', '.join(BY_SLUG)}."
        raise Invalid.one("figure", "invalid_choice", words, value=(given or "")[:40])
    return found


def _passed_over(given: str | None) -> int:
    return whole({"after": given}, "after", 10_000_000, 0) if given else 0


def _plain(cell: Any) -> Any:
    if isinstance(cell, date):
        return cell.isoformat()
    return format(cell, "f") if isinstance(cell, Decimal) else cell
