"""Scales post what they show under /api/v1/scale-readings."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from planning.weigh_in import scale_readings
from shared import clock
from shared.api import fields, viewsets
from shared.api.serializers import StrictSerializer
from shared.errors import Invalid
from shop import stores


class ScaleReadingSerializer(StrictSerializer):
    """One reading; `stable` is false while the figure still runs."""

    site = fields.SiteField()
    scale = fields.TextField(max_length=40, help_text="The scale's code at its site, such as S1.")
    kg = fields.DecimalField(
        max_digits=10, decimal_places=4, min_value=Decimal(-1000), max_value=Decimal(10000)
    )
    stable = fields.YesNoField(default=True)


class ScaleReadingView(viewsets.ScopedView):
    """
    What a scale shows, for the batch page beside it; kept for ten seconds, booked nowhere.

    A small program next to a serial or USB scale posts each new figure; the person at the page
    takes it over with a tap.
    """

    serializer_class = ScaleReadingSerializer
    scope_noun = "weighings"
    key_required = False

    @extend_schema(responses={200: ScaleReadingSerializer})
    def post(self, request: Any) -> Response:
        """Show a reading on the batch page."""
        form = self.get_serializer(data=request.data)
        form.is_valid(raise_exception=True)
        body, now = form.validated_data, clock.now()
        site = body["site"]
        known = [s.code for s in stores.site_week(site.pk, clock.today(site), 1).scales]
        if body["scale"] not in known:
            raise Invalid.one(
                "scale",
                "unknown",
                f"scale is {body['scale']!r}; {site} has: {', '.join(known) or 'none'}.",
                value=body["scale"],
            )
        scale_readings.put(
            site_id=site.pk, scale=body["scale"], kg=body["kg"], stable=body["stable"], at=now
        )
        return Response(self.get_serializer(body).data)
