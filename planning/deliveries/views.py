"""REST: delivery notes under /api/v1/."""

from __future__ import annotations

from typing import Any, ClassVar
from uuid import uuid4

from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer

from planning.deliveries import actions
from planning.deliveries import serializers as forms
from planning.deliveries.documents import despatch_document
from planning.deliveries.models import DeliveryNote
from shared import clock
from shared.api import idempotency, viewsets
from shared.api.ubl import XML, Xml, answered


class DeliveryFilter(filters.FilterSet):
    """Notes by what they are about."""

    order = filters.NumberFilter(
        field_name="lines__pour__order", distinct=True, label="Id of a tool order."
    )
    order_reference = filters.CharFilter(
        field_name="lines__pour__order__customer_reference", distinct=True,
        label="The ordering system's own name for the order.",
    )  # fmt: skip

    class Meta:
        model = DeliveryNote
        fields: ClassVar = {"kind": ["exact"], "recipient": ["exact"], "at": ["gte", "lt"]}


class DeliveryNoteViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Castings sent to whoever ordered them; a note is never changed, only answered by another."""

    queryset = DeliveryNote.objects.select_related("site", "by").prefetch_related(
        "lines__pour__order__tool", "lines__taken_back_by"
    )
    serializer_class = forms.DeliveryNoteSerializer
    read_serializer_class = forms.DeliveryNoteSerializer
    scope_noun = "tool_orders"
    versioned = False
    filterset_class = DeliveryFilter
    sort_fields = ("at", "id")

    def get_serializer_class(self) -> Any:
        """Read a new note in its own form."""
        if self.action == "create":
            return forms.NewDeliveryNoteSerializer
        return super().get_serializer_class()

    def _body(self, values: dict[str, Any]) -> dict[str, Any]:
        return forms.body_of(dict(values), idempotency.principal(self.request), str(uuid4()))

    def perform_create(self, serializer: Any) -> None:
        """Send what stands ready."""
        made = actions.send(
            now=clock.now(), by=self.request.user, **self._body(serializer.validated_data)
        )
        serializer.instance = self.queryset.get(pk=made.pk)

    @extend_schema(responses={201: forms.DeliveryNoteSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.DeliveryReturnSerializer)
    def returns(self, request: Any, pk: Any = None) -> Any:
        """Take castings of a delivery back by a further note; they may be sent again."""
        note = self.get_object()

        def work(body: dict[str, Any]) -> DeliveryNote:
            made = actions.take_back(
                note=note, now=clock.now(), by=request.user, **self._body(body)
            )
            return self.queryset.get(pk=made.pk)

        return self.once(work)

    @extend_schema(responses={(200, XML): OpenApiTypes.STR})
    @action(detail=True, url_path="ubl-despatch-advice", renderer_classes=[Xml, JSONRenderer])
    def ubl_despatch_advice(self, request: Any, pk: Any = None) -> Any:
        """Return the note as a UBL 2.1 DespatchAdvice."""
        return answered(despatch_document(self.get_object()))
