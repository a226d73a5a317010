"""REST: cycle counts."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.exceptions import PermissionDenied
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from shared import clock
from shared.api import viewsets
from shop.counting import actions
from shop.counting import serializers as forms
from shop.counting.models import CycleCount


class CycleCountViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Counts of shelves: blind, a second look where it differs, booked on approval."""

    queryset = CycleCount.objects.select_related("site").prefetch_related(
        "lines__container__lot__material"
    )
    serializer_class = forms.CycleCountSerializer
    read_serializer_class = forms.CycleCountSerializer
    scope_noun = "movements"
    filterset_fields: ClassVar = {"location": ["exact"], "status": ["exact"]}
    sort_fields = ("started_at", "id")

    def perform_create(self, serializer: Any) -> None:
        """Begin a count."""
        body = serializer.validated_data
        if not self.access.may("movements:write", body["location"].site_id):
            raise PermissionDenied("This needs movements:write at the site of the shelf.")
        tolerance = CycleCount._meta.get_field("tolerance_percent").default
        serializer.instance = actions.start(
            location=body["location"],
            by=self.request.user,
            at=clock.now(),
            tolerance_percent=body.get("tolerance_percent", tolerance),
        )

    @extend_schema(responses={201: forms.CycleCountSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.FigureSerializer)
    def figures(self, request: Any, pk: Any = None) -> Any:
        """Write down what one container holds."""
        count = self.get_object()

        def work(body: dict[str, Any]) -> CycleCount:
            container = body["container"]
            actions.write_down(
                count_id=count.pk,
                container_id=container.pk,
                figure=body["quantity"].of(container.lot.material),
                by=request.user,
                at=clock.now(),
            )
            return self.get_object()

        return self.once(work)

    def _closing(self, request: Any, verb: Any) -> Any:
        count = self.get_object()

        def work(body: dict[str, Any]) -> CycleCount:
            verb(count_id=count.pk, by=request.user, at=clock.now())
            return self.get_object()

        return self.once(work)

    @extend_schema(responses={201: forms.CycleCountSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.NothingSerializer)
    def approvals(self, request: Any, pk: Any = None) -> Any:
        """Book the differences."""
        return self._closing(request, actions.approve)

    @extend_schema(responses={201: forms.CycleCountSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.NothingSerializer)
    def cancellations(self, request: Any, pk: Any = None) -> Any:
        """Give the count up."""
        return self._closing(request, actions.cancel)
