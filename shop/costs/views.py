"""Costs of castings and losses by month, under /api/v1/."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from shared import clock
from shared.access.models import Site
from shared.api import viewsets
from shared.api.problems import BadParameter
from shared.errors import Invalid
from shop.costs import months, queries, shapes
from shop.outlook import months as outlook

SITE = OpenApiParameter("site", str, description="Code of the site; your only one without it.")


class CostView(viewsets.ScopedView):
    """What costs views share: the site, and parameters that are refused in words."""

    scope_noun = "prices"
    serializer_class = serializers.Serializer
    pagination_class = None
    filter_backends = []

    def asked(self, read: Any, name: str, site: Site) -> Any:
        """Read one parameter, turning its refusal into an answer of 400."""
        try:
            return read(self.request.query_params.get(name), clock.today(site))
        except Invalid as error:
            problem = {"parameter": name, "code": error.problems[0].code, "detail": error.message}
            raise BadParameter([problem]) from error


class CastingCostView(CostView):
    """What castings cost from the lots they really used."""

    extra_parameters: ClassVar = ("site", "month")

    @extend_schema(
        operation_id="casting_costs",
        parameters=[SITE, OpenApiParameter("month", str, description="Such as 2026-11.")],
        responses={200: shapes.CASTING_COSTS},
    )
    def get(self, request: Any) -> Response:
        """Return the castings worked on in a month, each with its lots and its cost so far."""
        site = self.site(request.query_params.get("site"))
        first, last = self.asked(months.month, "month", site)
        return Response(
            {
                "site": site.code,
                "month": f"{first:%Y-%m}",
                "items": [
                    {
                        "casting": row.cost.casting,
                        "label": row.label,
                        "totals": {c: str(t) for c, t in row.cost.totals.items()},
                        "unpriced_lots": list(row.cost.unpriced),
                        "lines": [
                            {
                                "lot": line.lot,
                                "material_code": line.material,
                                "quantity": f"{line.quantity:.4f}",
                                "cost": None if line.cost is None else str(line.cost),
                                "currency": line.currency,
                            }
                            for line in row.cost.lines
                        ],
                    }
                    for row in queries.costs(site, first, last)
                ],
            }
        )


class LossView(CostView):
    """What was lost: scrap, expiry, samples, count differences."""

    extra_parameters: ClassVar = ("site", "months")

    @extend_schema(
        operation_id="losses",
        parameters=[
            SITE,
            OpenApiParameter(
                "months", {"type": "integer", "minimum": 1, "maximum": months.MOST_MONTHS}
            ),
        ],
        responses={200: shapes.LOSSES},
    )
    def get(self, request: Any) -> Response:
        """Return losses by month, what is out of date now, and what will expire unused."""
        site = self.site(request.query_params.get("site"))
        first, last = self.asked(months.back, "months", site)
        return Response(
            {
                "site": site.code,
                "items": [
                    {
                        "month": f"{row.month:%Y-%m}",
                        "material_code": row.material,
                        "reason": row.reason,
                        "quantity": f"{row.quantity:.4f}",
                        "cost": {c: str(t) for c, t in row.cost.items()},
                    }
                    for row in queries.losses(site, first, last)
                ],
                "will_expire_unused": [
                    {
                        "month": f"{row.first:%Y-%m}",
                        "material_code": row.material.code,
                        "quantity": f"{row.quantity:.4f}",
                        "unit": row.material.unit,
                    }
                    for row in outlook.expiries(site)
                ],
                "out_of_date_now": [
                    {
                        "material_code": row.material_code,
                        "quantity": f"{row.quantity:.4f}",
                        "unit": row.unit,
                        "cost": None if row.cost is None else str(row.cost),
                        "currency": row.currency,
                    }
                    for row in queries.stale_stock(site, last)
                ],
            }
        )
