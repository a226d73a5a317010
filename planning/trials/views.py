"""What-if questions under /api/v1/plan-trials."""

from __future__ import annotations

from typing import Any

from planning.trials import actions as trials
from planning.trials.models import PlanTrial
from planning.trials.serializers import NewTrialSerializer, TrialSerializer
from shared import clock
from shared.api import viewsets


class TrialViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """
    What if: ask several questions of a plan, follow them, read the answers side by side.

    Nothing is saved but the questions and their answers; no plan changes. The first answer is the
    week as it is. A trial is `waiting`, then `solving`, then `ready` or `broken`.
    """

    queryset = PlanTrial.objects.select_related("plan__site").order_by("-id")
    serializer_class = TrialSerializer
    read_serializer_class = TrialSerializer
    scope_noun = "plans"
    filterset_fields = {"plan": ["exact"], "state": ["exact"]}

    def get_queryset(self) -> Any:
        """Leave out the long documents of the plans."""
        return super().get_queryset().defer("plan__problem", "plan__plan")

    def get_serializer_class(self) -> Any:
        """Ask by the questions' own form."""
        return NewTrialSerializer if self.action == "create" else super().get_serializer_class()

    def perform_create(self, serializer: Any) -> None:
        """Write the questions down; the worker answers them."""
        values = serializer.validated_data
        serializer.instance = trials.ask_trial(
            plan=values["plan"], questions=values["questions"], now=clock.now(),
            by=self.request.user,
        )  # fmt: skip
