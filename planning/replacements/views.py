"""REST: proposed replacements of tools, and decisions about them."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.response import Response

from planning.replacements import actions
from planning.replacements.models import ReplacementDecision
from planning.replacements.queries import proposals
from planning.replacements.serializers import (
    DecisionSerializer,
    NewDecisionSerializer,
    ReplacementSerializer,
    shown,
)
from shared import clock
from shared.api import viewsets


class ReplacementViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """
    Decisions about replacing tools; a post decides on a proposed one.

    Accepting orders the replacement: a new tool, with the pours of the old one's order.
    """

    queryset = ReplacementDecision.objects.select_related("tool__site", "by")
    serializer_class = DecisionSerializer
    read_serializer_class = DecisionSerializer
    scope_noun = "tool_orders"
    versioned = False
    filterset_fields: ClassVar = {"tool": ["exact"], "accepted": ["exact"]}
    sort_fields = ("decided_at", "id")

    def get_serializer_class(self) -> Any:
        """Ask by the decision's own form."""
        return NewDecisionSerializer if self.action == "create" else super().get_serializer_class()

    def perform_create(self, serializer: Any) -> None:
        """Decide."""
        body = dict(serializer.validated_data)
        tool = body.pop("tool")
        serializer.instance = actions.decide(
            site=tool.site, tool_id=tool.pk, now=clock.now(), by=self.request.user, **body
        )

    @extend_schema(responses=ReplacementSerializer(many=True))
    @action(detail=False, filterset_fields={}, pagination_class=None)
    def proposals(self, request: Any) -> Response:
        """Return the replacements that should be ordered soon at your sites, the first first."""
        sites = self.access.rows(viewsets.Site.objects.order_by("code"), self.scope)
        return Response([row for site in sites for row in shown(proposals(site))])
