"""REST: the ledger, goods in, stock levels, reservations and needs."""

from __future__ import annotations

from typing import Any, ClassVar

from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from shared import clock
from shared.api import fields, idempotency, viewsets
from shared.api.problems import BadParameter
from shared.times import happened
from shop.keys import key_for
from shop.ledger import booking, mixing, shapes
from shop.ledger import serializers as forms
from shop.ledger.goods_in import Received, receive_goods
from shop.ledger.models import Movement, Requirement, Reservation
from shop.ledger.queries import StockLevel, balances_at, stock_levels
from shop.lots.models import Container
from shop.lots.serializers import ContainerSerializer, LotSerializer
from shop.lots.views import ContainerViewSet
from shop.materials.scanning import read_goods_scan
from shop.quantities import QuantityField


class MovementFilter(filters.FilterSet):
    lot = filters.NumberFilter(field_name="container__lot")
    material = filters.NumberFilter(field_name="container__lot__material")
    happened_from = filters.IsoDateTimeFilter(field_name="happened_at", lookup_expr="gte")
    happened_to = filters.IsoDateTimeFilter(field_name="happened_at", lookup_expr="lt")

    class Meta:
        model = Movement
        fields: ClassVar = {"container": ["exact"], "kind": ["exact"], "counterpart": ["exact"]}


class MovementViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin,
                      viewsets.SiteViewSet):  # fmt: skip
    """The append-only ledger; a mistake is undone by a movement that names it in `reverses`."""

    queryset = Movement.objects.select_related("container__lot__material", "by", "site")
    serializer_class = forms.MovementSerializer
    read_serializer_class = forms.MovementSerializer
    scope_noun = "movements"
    versioned = False
    filterset_class = MovementFilter
    sort_fields = ("happened_at", "id")

    def get_serializer_class(self) -> Any:
        """Read new movements in their own form."""
        return forms.NewMovementSerializer if self.action == "create" else self.serializer_class

    @extend_schema(responses={201: forms.MovementSerializer})
    def create(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Take something out, or undo a movement."""
        return super().create(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> None:
        """Write the movement."""
        body = serializer.validated_data
        who = idempotency.principal(self.request)
        posted = booking.record(body, who=who, by=self.request.user)
        serializer.instance = self.get_queryset().get(pk=posted.id)


class SplitViewSet(viewsets.SiteViewSet):
    """Part of a container into another one of its lot."""

    queryset = Container.objects.select_related("lot__site", "lot__material", "location")
    serializer_class = forms.SplitSerializer
    read_serializer_class = ContainerSerializer
    scope_noun = "movements"

    @extend_schema(responses={201: ContainerSerializer})
    def create(self, request: Any) -> Any:
        """Split a container; the answer is the one that was filled."""

        def work(body: dict[str, Any]) -> Container:
            container = body["container"]
            quantity = body.pop("quantity").of(container.lot.material)
            key = key_for("split", None)
            made = booking.split(**body, quantity=quantity, key=key, by=request.user)
            return ContainerViewSet.queryset.get(pk=made.pk)

        return self.once(work)


class MixViewSet(viewsets.SiteViewSet):
    """Several lots of one material into one can."""

    queryset = Container.objects.select_related("lot__site", "lot__material", "location")
    serializer_class = forms.MixSerializer
    read_serializer_class = ContainerSerializer
    scope_noun = "movements"

    @extend_schema(responses={201: ContainerSerializer})
    def create(self, request: Any) -> Any:
        """Mix; the answer is the can that was filled, a lot of its own."""

        def work(body: dict[str, Any]) -> Container:
            parts = [
                (part["container"].pk, part["quantity"].of(part["container"].lot.material))
                for part in body.pop("parts")
            ]
            key, at = key_for("mix", None), clock.now()
            made = mixing.mix(**body, parts=parts, key=key, at=at, by=request.user)
            return ContainerViewSet.queryset.get(pk=made.pk)

        return self.once(work)


class ReceiptView(viewsets.ScopedView):
    """Goods in: one delivery of one or many lots, all or nothing."""

    serializer_class = forms.ReceiptSerializer
    scope_noun = "movements"

    @extend_schema(responses={201: forms.ReceivedSerializer})
    def post(self, request: Any) -> Any:
        """Take a delivery in; lots, containers, expiry and warnings come back."""

        def work(body: dict[str, Any]) -> dict[str, Any]:
            goods = [
                booking.goods_of(one, f"goods/{n}", body["site"])
                for n, one in enumerate(body["goods"])
            ]
            received = receive_goods(
                site=body["site"],
                goods=goods,
                key=key_for("receipt", None),
                received_at=happened(
                    body.get("received_at"), now=clock.now(), field="received_at"
                ),
                by=request.user,
                reason=body.get("reason", ""),
            )
            return {"lots": [self._shown(one) for one in received]}

        return self.once(work)

    def _shown(self, one: Received) -> dict[str, Any]:
        context = self.get_serializer_context()
        return {
            "lot": LotSerializer(one.lot, context=context).data,
            "containers": ContainerSerializer(one.containers, many=True, context=context).data,
            "expiry_from": one.expiry_from,
            "warnings": list(one.warnings),
        }


class ScanView(viewsets.ScopedView):
    """What a scanned label of a supplier says; nothing is stored."""

    serializer_class = forms.ScanSerializer
    scope_noun = "movements"
    key_required = False

    @extend_schema(responses={200: shapes.SCAN})
    def post(self, request: Any) -> Any:
        """Read a scan."""
        form = self.get_serializer(data=request.data)
        form.is_valid(raise_exception=True)
        body = form.validated_data
        supplier = body.get("supplier")
        scan = read_goods_scan(
            body["text"], clock.today(body["site"]), supplier.pk if supplier else None
        )
        unit = scan.material.unit if scan.material else None
        shown = (
            QuantityField().to_representation((scan.quantity, unit))
            if scan.quantity is not None and unit
            else None
        )
        return Response(
            {
                "material": str(scan.material.pk) if scan.material else None,
                "supplier": str(scan.supplier_id) if scan.supplier_id else None,
                "lot_code": scan.lot_code,
                "made_on": scan.made_on,
                "expires_on": scan.expires_on,
                "quantity": shown,
                "count": scan.count,
                "warnings": list(scan.warnings),
            }
        )


class StockView(viewsets.ScopedView):
    """Stock of a site by material, now; or by container as it was at a past moment."""

    scope_noun = "lots"
    extra_parameters = ("site", "at", "material")
    serializer_class = forms.RequirementSerializer

    @extend_schema(
        parameters=[
            OpenApiParameter("site", str, description="Code of the site."),
            OpenApiParameter("material", str, description="Code of one material."),
            OpenApiParameter("at", str, description="A past moment with offset."),
        ],
        responses={200: shapes.STOCK},
    )
    def get(self, request: Any) -> Any:
        """Return stock levels, or balances at a moment."""
        site = self.site(request.query_params.get("site"))
        code = request.query_params.get("material")
        at = request.query_params.get("at")
        if at is None:
            levels = stock_levels(site, clock.now(), **({"code": code} if code else {}))
            return Response({"site": site.code, "items": [_level(level) for level in levels]})
        try:
            when = fields.MomentField().to_internal_value(at)
        except fields.serializers.ValidationError as error:
            sentence = f"at is {at[:40]!r}: it {error.detail[0]}"  # type: ignore[index]
            raise BadParameter(
                [{"parameter": "at", "code": "invalid", "detail": sentence}]
            ) from None
        narrow = {"container__lot__material__code": code} if code else {}
        held = balances_at(site, when, **narrow)
        rows = ContainerViewSet.queryset.in_bulk(held)
        items = [
            {
                "container": str(pk),
                "code": rows[pk].code,
                "lot": str(rows[pk].lot_id),
                "balance": QuantityField().to_representation((total, rows[pk].lot.material.unit)),
            }
            for pk, total in sorted(held.items())
        ]
        return Response({"site": site.code, "at": when, "items": items})


def _level(level: StockLevel) -> dict[str, Any]:
    def shown(name: str) -> Any:
        return QuantityField().to_representation((getattr(level, name), level.material.unit))

    names = ("total", "usable", "reserved", "free", "blocked", "expired", "soon")
    return {
        "material": str(level.material.pk),
        "material_code": level.material.code,
        **{name: shown(name) for name in names},
    }


class ReservationViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """What is set aside for planned work; plans make and free reservations."""

    queryset = Reservation.objects.select_related("container__lot__material")
    serializer_class = forms.ReservationSerializer
    scope_noun = "requirements"
    filterset_fields: ClassVar = {"container": ["exact"], "purpose": ["exact"]}
    sort_fields = ("needed_at", "id")


class RequirementViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Dated needs for materials, pushed by plans."""

    queryset = Requirement.objects.select_related("material", "site")
    serializer_class = forms.RequirementSerializer
    scope_noun = "requirements"
    filterset_fields: ClassVar = {
        "material": ["exact"], "source": ["exact"], "needed_at": ["gte", "lt"],
    }  # fmt: skip
    sort_fields = ("needed_at", "id")
