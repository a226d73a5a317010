"""A day's batch sheet under /api/v1/sheets/{date}."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import Http404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from planning.batch_sheets import queries
from planning.batch_sheets.shapes import SHEET
from shared import clock
from shared.api.viewsets import SiteViewSet


class SheetViewSet(SiteViewSet):
    """The sheet of a day: what to fetch, coat, weigh, pour and demould."""

    queryset = queries.Batch.objects.none()
    scope_noun = "batches"
    lookup_field = "day"
    lookup_value_regex = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
    extra_parameters = ("site",)

    @extend_schema(
        parameters=[
            OpenApiParameter("day", OpenApiTypes.DATE, OpenApiParameter.PATH),
            OpenApiParameter("site", OpenApiTypes.STR),
        ],
        responses={200: SHEET},
    )
    def retrieve(self, request: Any, day: str) -> Response:
        """Return the sheet of one day at one site."""
        try:
            wanted = date.fromisoformat(day)
        except ValueError:
            raise Http404(f"{day} is not a day that exists.") from None
        site = self.site(request.query_params.get("site"))
        return Response(queries.sheet(site=site, day=wanted, now=clock.now()))
