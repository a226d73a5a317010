"""Plans under /api/v1/plans."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.response import Response

from planning.schedule import actions, shapes
from planning.schedule.comparison import compared_now
from planning.schedule.models import WeekPlan
from planning.schedule.serializers import (
    NewPlanSerializer,
    PlanConfirmationSerializer,
    PlanSerializer,
)
from shared import clock
from shared.api import viewsets
from shared.api.problems import MEDIA_TYPE
from shared.api.schema import PROBLEM
from shared.api.serializers import StrictSerializer


class PlanViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Week plans: ask for one, follow its progress, read it, confirm it."""

    queryset = WeekPlan.objects.select_related("site").order_by("-id")
    serializer_class = PlanSerializer
    read_serializer_class = PlanSerializer
    scope_noun = "plans"
    filterset_fields = {"week": ["exact"], "state": ["exact"]}

    def get_queryset(self) -> Any:
        """Leave the long documents out where they are not shown."""
        rows = super().get_queryset()
        return rows if self.action == "content" else rows.defer("problem")

    def get_serializer_class(self) -> Any:
        """Ask for a plan by its own form."""
        return NewPlanSerializer if self.action == "create" else super().get_serializer_class()

    def perform_create(self, serializer: Any) -> None:
        """Write the wish down; the worker takes it up."""
        values = dict(serializer.validated_data)
        serializer.instance = actions.ask_plan(
            now=clock.now(),
            by=self.request.user,
            **{**values, "seconds": float(values["seconds"])},
        )

    @extend_schema(responses={200: shapes.CONTENT})
    @action(detail=True, methods=["get"])
    def content(self, request: Any, pk: Any = None) -> Response:
        """Return the problem and the plan in the planner's own JSON form."""
        plan = self.get_object()
        return Response({"problem": plan.problem, "plan": plan.plan})

    @extend_schema(
        responses={
            200: shapes.COMPARISON,
            (409, MEDIA_TYPE): PROBLEM,  # the plan is not ready: there is nothing to compare
        }
    )
    @action(detail=True, methods=["get"])
    def comparison(self, request: Any, pk: Any = None) -> Response:
        """Return the plan beside the one confirmed before it, with the mark to confirm it by."""
        plan = self.get_object()
        if not plan.plan:
            raise actions.PlanNotReady(
                f"Plan {plan} is {plan.get_state_display().lower()}; there is nothing to compare.",
                code="plan_not_ready",
            )
        compared, seen = compared_now(plan)
        return Response({**compared, "seen": seen})

    @extend_schema(responses={201: PlanSerializer})
    @action(detail=True, methods=["post"], serializer_class=PlanConfirmationSerializer)
    def confirmations(self, request: Any, pk: Any = None) -> Any:
        """
        Confirm a ready plan: batches numbered, lots reserved, steps dated.

        Where it changes a confirmed plan, `seen` is the mark of the comparison looked at.
        """
        plan, now = self.get_object(), clock.now()
        judged = actions.judge(plan=plan, now=now)
        return self.once(
            lambda body: actions.confirm(
                plan=plan, now=now, by=request.user, judged=judged, seen=body["seen"]
            )
        )

    @extend_schema(responses={201: PlanSerializer})
    @action(detail=True, methods=["post"], serializer_class=StrictSerializer)
    def stops(self, request: Any, pk: Any = None) -> Any:
        """Ask a running search to stop and keep the best plan so far."""

        def work(body: dict[str, Any]) -> WeekPlan:
            plan = self.get_object()
            actions.ask_stop(plan=plan)
            return plan

        return self.once(work)
