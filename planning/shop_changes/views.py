"""REST: changes in the shop, each answered with what it breaks in the confirmed plan."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from planning.schedule.broken import plan_now
from planning.shop_changes import actions
from planning.shop_changes.serializers import (
    PlanNowSerializer,
    ShopChangeSerializer,
    ToldSerializer,
    broken_row,
)
from shared import clock
from shared.api import viewsets
from shop import stores


class ShopChangeView(viewsets.ScopedView):
    """Who and what is there on some days, and what that breaks in the confirmed plan."""

    serializer_class = ShopChangeSerializer
    scope_noun = "availability"

    @extend_schema(
        request=ShopChangeSerializer, responses={201: ToldSerializer}, operation_id="shop_changes"
    )
    def post(self, request: Any) -> Any:
        """
        Enter an absence, an extra shift, a closed day, something out of use, a temperature.

        The answer names what breaks in the confirmed plan; POST /plans asks for a mended one.
        """
        return self.once(self._report)

    def _report(self, body: dict[str, Any]) -> dict[str, Any]:
        site = body.pop("site")
        for name in ("person", "mixer", "place"):
            row = body.get(name)
            body[name] = None if row is None else row.pk
        told = actions.report(site=site, what=stores.ShopChange(**body), now=clock.now())
        plan = told.breaks.plan
        return {
            "kind": told.reported.kind,
            "words": told.reported.words,
            "rows": [
                {"list": name, "id": str(key)}
                for name, key in stores.rows_of_change(told.reported)
            ],
            "plan": None if plan is None else str(plan.pk),
            "breaks": [broken_row(one) for one in told.breaks.broken],
            "broken_before": told.broken_before,
        }


class PlanNowView(viewsets.ScopedView):
    """The confirmed plan judged against the shop as it is now."""

    scope_noun = "plans"
    extra_parameters: ClassVar[tuple[str, ...]] = ("site",)

    @extend_schema(
        parameters=[OpenApiParameter("site", str, description="Code of the site.")],
        responses=PlanNowSerializer,
        operation_id="plan_now",
    )
    def get(self, request: Any) -> Response:
        """Return what of the confirmed plan no longer holds: pours, batches, steps, people."""
        found = plan_now(self.site(request.query_params.get("site")), clock.now())
        return Response(
            {
                "plan": None if found.plan is None else str(found.plan.pk),
                "broken": [broken_row(one) for one in found.broken],
            }
        )
