"""Routes under /api/v1/routes."""

from __future__ import annotations

from typing import Any

from planning.routes import actions
from planning.routes.models import Route
from planning.routes.serializers import RouteSerializer
from shared.api import viewsets


class RouteViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.SiteViewSet,
):
    """Templates of the steps a tool goes through; pours keep the steps they were given."""

    queryset = Route.objects.prefetch_related("steps__materials__material").order_by("id")
    serializer_class = RouteSerializer
    scope_noun = "routes"
    company_actions = viewsets.ALL_CHANGES

    def perform_create(self, serializer: Any) -> None:
        """Store a route with its steps."""
        serializer.instance = actions.make_route(**serializer.validated_data)

    def perform_update(self, serializer: Any) -> None:
        """Change a route; steps, when sent, replace all it had."""
        serializer.instance = actions.change_route(
            route=serializer.instance, changes=serializer.validated_data
        )
