"""Tool orders, pours and steps under /api/v1/."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from planning.pours import actions, documents, order_changes, steps
from planning.pours.models import Pour, PourStep, ToolOrder
from planning.pours.serializers import (
    ChangedToolOrderSerializer,
    MayGiveReasonSerializer,
    NewToolOrderSerializer,
    OrderHoldSerializer,
    PourSerializer,
    PourStepSerializer,
    QuantitySerializer,
    SignatureSerializer,
    ToolOrderSerializer,
    WaiverSerializer,
    for_action,
)
from shared import clock
from shared.api import viewsets
from shared.api.problems import field_problems
from shared.api.ubl import JSON, XML, Xml, answered, taking
from shared.api.uploads import OneFile
from shared.errors import Invalid
from shared.photos.forms import Jpeg, PhotoSerializer, cleaned, jpeg
from shared.ubl.document import Document, Kind


@extend_schema_view(
    bulk=extend_schema(
        description="Take in many orders, as JSON or as one UBL 2.1 Order, all of them or none.",
        request={JSON: viewsets.bulk_of(NewToolOrderSerializer), XML: OpenApiTypes.STR},
        responses={201: viewsets.bulk_of(ToolOrderSerializer)},
    )
)
class ToolOrderViewSet(
    viewsets.BulkMixin,
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.SiteViewSet,
):
    """Tool orders with their pours."""

    queryset = ToolOrder.objects.select_related("site", "tool", "route").prefetch_related(
        "pours__order", "pours__delivery_lines__note"
    )
    serializer_class = ToolOrderSerializer
    read_serializer_class = ToolOrderSerializer
    scope_noun = "tool_orders"
    filterset_fields = {
        "status": ["exact"],
        "number": ["exact"],
        "customer_reference": ["exact"],
        "due_on": ["gte", "lte"],
    }
    sort_fields = ("due_on", "number", "id")

    def get_serializer_class(self) -> Any:
        """Take orders in by their own form."""
        if self.action in ("create", "bulk"):
            kind = NewToolOrderSerializer
            return viewsets.bulk_of(kind) if self.action == "bulk" else kind
        if self.action == "partial_update":
            return ChangedToolOrderSerializer
        return super().get_serializer_class()

    def get_parsers(self) -> list[Any]:
        """Take a UBL Order where many orders are taken in."""
        found = super().get_parsers()
        # Parsers are asked for before the action is known.
        method = (getattr(self.request, "method", None) or "").lower()
        named = (getattr(self, "action_map", None) or {}).get(method)
        takes = "bulk" in (named, getattr(self, "action", None))
        return [*found, taking(Kind.ORDER)()] if takes else found

    def _bulk(self) -> Any:
        document = self.request.data
        if not isinstance(document, Document):
            return super()._bulk()
        made = self._take_document(document)
        context = self.get_serializer_context()
        return Response({"items": ToolOrderSerializer(made, many=True, context=context).data}, 201)

    def _take_document(self, document: Document) -> list[ToolOrder]:
        """Take in the orders of a document; what is refused is told by the paths of elements."""
        body = documents.order_bodies(document)
        serializer = self.get_serializer(data=body)
        try:
            serializer.is_valid(raise_exception=True)
            items = serializer.validated_data["items"]
            documents.refuse_known(document, items)
            made = self.perform_bulk(items)
        except ValidationError as error:
            found = documents.by_path(field_problems(error.detail, body), document)
            raise Invalid(" ".join(one.detail for one in found[:5]), found) from error
        except Invalid as error:
            raise Invalid(error.message, documents.by_path(error.problems, document)) from error
        for order, line in zip(made, document.lines, strict=True):
            if (pieces := documents.pieces_of(line) or 1) > 1:
                order_changes.set_quantity(
                    order=order, quantity=pieces, now=clock.now(), by=self.request.user
                )
        return made

    @extend_schema(responses={(200, XML): OpenApiTypes.STR})
    @action(detail=True, url_path="ubl-order-response", renderer_classes=[Xml, JSONRenderer])
    def ubl_order_response(self, request: Any, pk: Any = None) -> Any:
        """Return how the order stands as a UBL 2.1 OrderResponse, with the day planned."""
        return answered(documents.response_document(self.get_object(), clock.now()))

    def perform_create(self, serializer: Any) -> None:
        """Take one order in."""
        serializer.instance = actions.take_order(
            **_order(serializer.validated_data), by=self.request.user
        )

    def perform_bulk(self, items: list[dict[str, Any]]) -> list[ToolOrder]:
        """Take all orders in, or none."""
        return actions.take_orders({**_order(item), "by": self.request.user} for item in items)

    def perform_update(self, serializer: Any) -> None:
        """Change an order; what is planned of it is planned again."""
        changes = dict(serializer.validated_data)
        reason = changes.pop("reason", "")
        serializer.instance = order_changes.change_order(
            order=serializer.instance,
            changes=changes,
            reason=reason,
            now=clock.now(),
            by=self.request.user,
        )

    def _one(self, change: Any) -> Any:
        return self.once(
            lambda body: change(
                order=self.get_object(), now=clock.now(), by=self.request.user, **body
            )
        )

    @extend_schema(responses={201: ToolOrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=MayGiveReasonSerializer)
    def cancellations(self, request: Any, pk: Any = None) -> Any:
        """Cancel an order, or what of it is not poured; what is planned of it is freed."""
        return self._one(order_changes.cancel_order)

    @extend_schema(responses={201: ToolOrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=OrderHoldSerializer)
    def holds(self, request: Any, pk: Any = None) -> Any:
        """Put an order on hold: what is planned and not begun is freed, nothing more planned."""
        return self._one(order_changes.hold_order)

    @extend_schema(responses={201: ToolOrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=MayGiveReasonSerializer)
    def releases(self, request: Any, pk: Any = None) -> Any:
        """Let an order on hold be planned again."""
        return self._one(order_changes.release_order)

    @extend_schema(responses={201: ToolOrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=QuantitySerializer)
    def quantities(self, request: Any, pk: Any = None) -> Any:
        """Order more or fewer pieces of one tool; each further piece is an order of its own."""
        return self._one(order_changes.set_quantity)


def _order(values: dict[str, Any]) -> dict[str, Any]:
    now = clock.now()
    site = values.pop("site")
    number = values.pop("number", None) or actions.next_number(site.pk, clock.today(site))
    pours = [for_action(pour) for pour in values.pop("pours")]
    return {**values, "site_id": site.pk, "number": number, "pours": pours, "now": now}


class PourViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """Pours: castings of one half of a tool."""

    queryset = Pour.objects.select_related("order", "order__site").order_by("id")
    serializer_class = PourSerializer
    scope_noun = "tool_orders"
    filterset_fields = {
        "status": ["exact"],
        "order": ["exact"],
        "due_on": ["gte", "lte"],
        "system": ["exact"],
        "sent": ["exact"],
    }
    sort_fields = ("due_on", "id")

    def perform_update(self, serializer: Any) -> None:
        """Change a pour of which nothing is cast; a planned one is planned again."""
        serializer.instance = actions.change_pour(
            pour=serializer.instance,
            changes=serializer.validated_data,
            now=clock.now(),
            by=self.request.user,
        )


class StepViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Steps of work of pours."""

    queryset = PourStep.objects.prefetch_related("planned_people", "materials__material").order_by(
        "id"
    )
    serializer_class = PourStepSerializer
    scope_noun = "steps"
    personal_actions = {"waivers": "Leaving a step out"}
    filterset_fields = {
        "pour": ["exact"],
        "phase": ["exact"],
        "planned_start": ["gte", "lt"],
        "done_at": ["isnull"],
    }

    @extend_schema(responses={201: PourStepSerializer})
    @action(detail=True, methods=["post"], serializer_class=SignatureSerializer)
    def signatures(self, request: Any, pk: Any = None) -> Any:
        """Sign a step as done; its materials are issued, measured values judged by its checks."""
        self.read_serializer_class = PourStepSerializer

        def work(body: dict[str, Any]) -> PourStep:
            step = self.get_object()
            results = steps.judged(step, body.pop("results", []))
            now = clock.now()
            values = {"at": now, **body, "results": results}
            return steps.sign_step(step=step, now=now, by=request.user, **values)

        return self.once(work)

    @extend_schema(responses={201: PourStepSerializer})
    @action(detail=True, methods=["post"], serializer_class=WaiverSerializer)
    def waivers(self, request: Any, pk: Any = None) -> Any:
        """Leave a step out with a reason; it counts as waived, not as done."""
        self.read_serializer_class = PourStepSerializer
        return self.once(
            lambda body: steps.waive_step(
                step=self.get_object(), now=clock.now(), by=request.user, **body
            )
        )

    @extend_schema(responses={201: PourStepSerializer})
    @action(
        detail=True, methods=["post"], serializer_class=PhotoSerializer, parser_classes=[OneFile]
    )
    def photos(self, request: Any, pk: Any = None) -> Any:
        """Add the photo of a step; there is one, and it is never replaced."""
        self.read_serializer_class = PourStepSerializer
        return self.once(
            lambda body: steps.add_photo(step=self.get_object(), photo=cleaned(body["file"]))
        )

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    @action(detail=True, renderer_classes=[Jpeg, JSONRenderer])
    def photo(self, request: Any, pk: Any = None) -> HttpResponse:
        """Return the photo of a step."""
        return jpeg(self.get_object().photo)
