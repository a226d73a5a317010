"""Purchase orders under /api/v1/: written, approved, ordered, confirmed, received, ended."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer

from shared import clock
from shared.api import idempotency, viewsets
from shared.api.parsing import StrictJson
from shared.api.serializers import StrictSerializer
from shared.api.ubl import JSON, XML, Xml, answered, taking
from shared.errors import Invalid
from shared.times import happened
from shared.ubl.document import Document, Kind
from shop.ledger.goods_in import Goods, Pack
from shop.purchasing import actions, documents, mailing
from shop.purchasing import serializers as forms
from shop.purchasing.models import PurchaseOrder


class PurchaseOrderViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Orders to suppliers."""

    queryset = (
        PurchaseOrder.objects.select_related("site", "supplier")
        .prefetch_related("lines__material")
        .order_by("id")
    )
    serializer_class = forms.OrderSerializer
    read_serializer_class = forms.OrderSerializer
    scope_noun = "purchases"
    scope_actions: ClassVar = {
        "receipts": "movements:write", "approvals": "approvals:write", "ubl_order": "prices:read",
    }  # fmt: skip
    filterset_fields: ClassVar = {"status": ["exact"], "supplier": ["exact"]}
    sort_fields = ("created_at", "id")

    def get_serializer_class(self) -> Any:
        """Take new orders in by their own form."""
        return (
            forms.NewOrderSerializer if self.action == "create" else super().get_serializer_class()
        )

    def perform_create(self, serializer: Any) -> None:
        """Write a draft."""
        body = dict(serializer.validated_data)
        lines = [actions.NewLine(**line) for line in body.pop("lines")]
        serializer.instance = actions.draft(lines=lines, by=self.request.user, **body)

    @extend_schema(responses={201: forms.OrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=StrictSerializer)
    def approvals(self, request: Any, pk: Any = None) -> Any:
        """Agree to a draft."""
        return self.once(
            lambda body: self._again(actions.approve(order=self.get_object(), by=request.user))
        )

    @extend_schema(responses={201: forms.OrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.PlacementSerializer)
    def placements(self, request: Any, pk: Any = None) -> Any:
        """Order what was approved; with `mail` it also goes to the supplier by e-mail."""
        return self.once(self._place)

    def _place(self, body: dict[str, Any]) -> PurchaseOrder:
        order = actions.place(order=self.get_object(), below_least=body["below_least"])
        if body["mail"]:
            mailing.ask(order)
        return self._again(order)

    @extend_schema(
        request={JSON: forms.ConfirmationSerializer, XML: OpenApiTypes.STR},
        responses={201: forms.OrderSerializer},
    )
    @action(
        detail=True, methods=["post"], serializer_class=forms.ConfirmationSerializer,
        parser_classes=[StrictJson, taking(Kind.ORDER_RESPONSE)],
    )  # fmt: skip
    def confirmations(self, request: Any, pk: Any = None) -> Any:
        """Write down what the supplier confirmed, as JSON or as their UBL 2.1 OrderResponse."""

        def work(body: dict[str, Any]) -> PurchaseOrder:
            answers = {
                row["line"]: actions.Answer(row["packs"], row["due_on"]) for row in body["lines"]
            }
            if len(answers) != len(body["lines"]):
                raise Invalid.one("lines", "repeated", "lines names one line twice.")
            order = actions.confirm(
                order=self.get_object(), reference=body["reference"], answers=answers
            )
            return self._again(order)

        return self.once(work)

    @extend_schema(
        request={JSON: forms.AnnouncementSerializer, XML: OpenApiTypes.STR},
        responses={201: forms.OrderSerializer},
    )
    @action(
        detail=True, methods=["post"], serializer_class=forms.AnnouncementSerializer,
        parser_classes=[StrictJson, taking(Kind.DESPATCH_ADVICE)],
    )  # fmt: skip
    def announcements(self, request: Any, pk: Any = None) -> Any:
        """Write down when goods will arrive, as JSON or as a UBL 2.1 DespatchAdvice."""

        def work(body: dict[str, Any]) -> PurchaseOrder:
            lines = {
                row["line"]: actions.Announced(row["due_on"], row["last_packs"])
                for row in body["lines"]
            }
            if len(lines) != len(body["lines"]):
                raise Invalid.one("lines", "repeated", "lines names one line twice.")
            order = self.get_object()
            actions.announce(order=order, reference=body["reference"], lines=lines)
            return self._again(order)

        return self.once(work)

    def body(self, data: Any) -> Any:
        """Return the body of a call; a supplier's document is turned into one first."""
        if isinstance(data, Document):
            return documents.BODIES[data.kind](data, self.get_object())
        return data

    @extend_schema(responses={(200, XML): OpenApiTypes.STR})
    @action(detail=True, url_path="ubl-order", renderer_classes=[Xml, JSONRenderer])
    def ubl_order(self, request: Any, pk: Any = None) -> Any:
        """Return the order as a UBL 2.1 Order, prices included, once it is ordered."""
        return answered(documents.order_document(self.get_object()))

    @extend_schema(responses={(200, XML): OpenApiTypes.STR})
    @action(detail=True, url_path="ubl-receipt-advice", renderer_classes=[Xml, JSONRenderer])
    def ubl_receipt_advice(self, request: Any, pk: Any = None) -> Any:
        """Return what came in of the order as a UBL 2.1 ReceiptAdvice."""
        return answered(documents.receipt_document(self.get_object()))

    @extend_schema(responses={201: forms.OrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.OrderReceiptSerializer)
    def receipts(self, request: Any, pk: Any = None) -> Any:
        """Take in goods against the lines, in part or in full."""
        return self.once(self._receive)

    def _receive(self, body: dict[str, Any]) -> PurchaseOrder:
        order = self.get_object()
        lines = {line.pk: line for line in order.lines.all()}
        goods = []
        for n, row in enumerate(body["goods"]):
            line = lines.get(row["line"])
            if line is None:
                words = f"line {row['line']} is not a line of {order}; it has {sorted(lines)}."
                raise Invalid.one(f"goods/{n}/line", "does_not_exist", words, value=row["line"])
            containers = [
                Pack(c["quantity"], location=c["location"], code=c["code"])
                for c in row["containers"]
            ]
            one = Goods(
                line.material,
                row["lot_code"],
                containers,
                made_on=row["made_on"],
                expires_on=row["expires_on"],
                certificate=row["certificate"],
            )
            goods.append((line.pk, one))
        key = f"{idempotency.principal(self.request)}:{idempotency.read_key(self.request)}"
        actions.receive(
            order=order,
            goods=goods,
            key=key[:100],
            received_at=happened(
                body.get("received_at"),
                now=clock.now(),
                field="received_at",
                after=[(f"{order} was ordered", order.ordered_at)],
            ),
            by=self.request.user,
            accept_over=body["accept_over"],
        )
        return self._again(order)

    @extend_schema(responses={201: forms.OrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.ReasonSerializer)
    def closings(self, request: Any, pk: Any = None) -> Any:
        """End an order; what has not come is not expected any more."""
        return self.once(lambda body: self._again(actions.close(order=self.get_object(), **body)))

    @extend_schema(responses={201: forms.OrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.ReasonSerializer)
    def cancellations(self, request: Any, pk: Any = None) -> Any:
        """Withdraw an order that was not sent."""
        return self.once(lambda body: self._again(actions.cancel(order=self.get_object(), **body)))

    def _again(self, order: PurchaseOrder) -> PurchaseOrder:
        """Read an order again with its lines, as they are now."""
        return PurchaseOrder.objects.prefetch_related("lines__material").get(pk=order.pk)
