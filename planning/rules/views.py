"""What a foreman decides about planning, under /api/v1/planning-rules."""

from __future__ import annotations

from typing import Any

from planning.rules import actions as rules
from planning.rules.models import PlanningRules
from planning.rules.serializers import RulesSerializer
from shared.api import viewsets


class RulesViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """
    The planning rules of each site; plans asked for afterwards follow them.

    A PATCH names what changes; null sets a rule back to the usual.
    """

    queryset = PlanningRules.objects.select_related("site").order_by("id")
    serializer_class = RulesSerializer
    read_serializer_class = RulesSerializer
    scope_noun = "plans"

    def get_queryset(self) -> Any:
        """Let every site of the caller have its rules, the usual ones at first."""
        if not getattr(self, "swagger_fake_view", False):
            rules.ensure(self.access.sites_with(self.scope))
        return super().get_queryset()

    def perform_update(self, serializer: Any) -> None:
        """Keep what was decided."""
        values = serializer.validated_data
        serializer.instance = rules.keep_rules(
            site_id=serializer.instance.site_id,
            values=values.get("settings", {}),
            freeze_hours=values.get("freeze_hours"),
            own_times=values.get("own_times"),
            night_c=values.get("night_c", rules.UNCHANGED),
            where="settings/",
        )
