"""The stock outlook under /api/v1/."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from shared.api import viewsets
from shared.api.problems import BadParameter
from shared.errors import Invalid
from shop.materials.models import Material
from shop.outlook import forms, months, queries, shapes

PARAMETERS = [
    OpenApiParameter("site", str, description="Code of the site; your only one without it."),
    OpenApiParameter(
        "days",
        {"type": "integer", "minimum": 1, "maximum": queries.MOST_DAYS},
        description=f"How far to look; {queries.USUAL_DAYS} without it.",
    ),
    OpenApiParameter(
        "material",
        {"type": "string", "pattern": "^[1-9][0-9]{0,17}$"},
        description="Id of one material: its days and its lots at risk.",
    ),
]


class OutlookView(viewsets.ScopedView):
    """Stock ahead: what runs short when, for which pours, and what will expire unused."""

    scope_noun = "requirements"
    extra_parameters: ClassVar[tuple[str, ...]] = ("site", "days", "material")
    serializer_class = serializers.Serializer
    pagination_class = None
    filter_backends = []

    @extend_schema(operation_id="outlook", parameters=PARAMETERS, responses={200: shapes.OUTLOOK})
    def get(self, request: Any) -> Response:
        """Return the outlook of every material with stock, needs or receipts, by code."""
        site = self.site(request.query_params.get("site"))
        days = self._days(request.query_params.get("days"))
        wanted = request.query_params.get("material")
        ids = None if wanted is None else [self._material(wanted)]
        rows = queries.rows(site, days=days, material_ids=ids)
        return Response(
            {
                "site": site.code,
                "days": days,
                "counts": forms.counts(rows),
                "items": [forms.plain(row, daily=ids is not None) for row in rows],
            }
        )

    def _days(self, text: str | None, usual: int = queries.USUAL_DAYS) -> int:
        try:
            return forms.checked_days(text, usual)
        except Invalid as error:
            raise BadParameter(
                [{"parameter": "days", "code": "out_of_range", "detail": error.message}]
            ) from error

    def _material(self, text: str) -> int:
        known = text.isascii() and text.isdigit() and len(text) <= 18
        if known and Material.objects.filter(pk=int(text)).exists():
            return int(text)
        sentence = f"material is {text[:40]!r}; give the id of a material."
        raise BadParameter([{"parameter": "material", "code": "unknown", "detail": sentence}])


class OutlookMonthsView(OutlookView):
    """The year ahead by month."""

    extra_parameters = ("site", "days")

    @extend_schema(
        operation_id="outlook_months",
        parameters=PARAMETERS[:2],
        responses={200: shapes.YEAR},
    )
    def get(self, request: Any) -> Response:
        """Return stock, receipts, use and expiries of every material by month, by code."""
        site = self.site(request.query_params.get("site"))
        days = self._days(request.query_params.get("days"), months.YEAR_DAYS)
        years = months.years(site, days=days)
        items = [forms.plain_year(year) for year in years]
        return Response({"site": site.code, "days": days, "items": items})
