"""REST forms of purchase orders; prices only for those who may see them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar, cast

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.lots.models import QUANTITY
from shop.materials.models import Material
from shop.materials.suppliers import Supplier
from shop.purchasing import queries
from shop.purchasing.models import PurchaseOrder, PurchaseOrderLine
from shop.registers_api import PricesForFew, above_zero, not_below_zero
from shop.sites.models import Location

QUANTITY_SCHEMA = {"type": "string", "description": "Decimal, in the material's unit."}


class OrderLineSerializer(StrictModelSerializer):
    """A line with what came in of it, summed from the ledger."""

    material_code = serializers.CharField(source="material.code", read_only=True)
    unit = serializers.CharField(source="material.unit", read_only=True)
    quantity = fields.DecimalField(**QUANTITY, read_only=True)
    received = serializers.SerializerMethodField()
    open = serializers.SerializerMethodField()
    due_on = fields.DayField(read_only=True)
    price_fields = ("pack_price",)

    class Meta:
        model = PurchaseOrderLine
        fields: ClassVar = [
            "id", "material", "material_code", "pack_name", "supplier_item", "content", "packs",
            "unit", "quantity", "pack_price", "expected_on", "least_life_days", "confirmed_on",
            "confirmed_packs", "due_on", "received", "open",
        ]  # fmt: skip
        read_only_fields = fields

    def _received(self, line: PurchaseOrderLine) -> Decimal:
        known: dict[int, Decimal] | None = self.context.get("received")
        if known is None or line.pk not in known:
            return queries.received([line])[line.pk]
        return known[line.pk]

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_received(self, line: PurchaseOrderLine) -> str:
        """Return what came in."""
        return f"{self._received(line):.4f}"

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_open(self, line: PurchaseOrderLine) -> str:
        """Return what is still to come."""
        return f"{queries.LineState(line, self._received(line)).open:.4f}"


class OrderSerializer(PricesForFew, StrictModelSerializer):
    """A purchase order with its lines."""

    number = serializers.CharField(read_only=True)
    supplier_code = serializers.CharField(source="supplier.code", read_only=True)
    goods_cost = serializers.SerializerMethodField()
    lines = OrderLineSerializer(many=True, read_only=True)
    price_fields = ("goods_cost",)

    class Meta:
        model = PurchaseOrder
        fields: ClassVar = [
            "id", "site", "number", "supplier", "supplier_code", "status", "currency", "remarks",
            "supplier_reference", "created_at", "approved_at", "ordered_at", "mailed_at",
            "confirmed_at", "ended_at", "end_reason", "goods_cost", "lines", "etag",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field({"type": "string", "nullable": True})
    def get_goods_cost(self, order: PurchaseOrder) -> str | None:
        """Return the price of all lines without tax."""
        cost = queries.goods_cost(order)
        return None if cost is None else f"{cost:.2f}"

    def to_representation(self, row: Any) -> Any:
        """Read what came in of all lines at once, and leave prices out where they must be."""
        if "received" not in self.context:
            rows = self.parent.instance if self.parent is not None else [row]
            lines = [line for order in (rows or [row]) for line in order.lines.all()]
            cast("dict[str, Any]", self.context)["received"] = queries.received(lines)
        shown = super().to_representation(row)
        if not self._may("prices:read", row):
            for line in shown.get("lines", ()):
                line.pop("pack_price", None)
        return shown


class NewLineSerializer(StrictSerializer):
    material = fields.RelatedIdField(queryset=Material.objects.all())
    pack_name = fields.TextField(max_length=60)
    content = fields.DecimalField(**QUANTITY, validators=[above_zero])
    packs = fields.WholeField(min_value=1, max_value=100_000)
    expected_on = fields.DayField()
    pack_price = fields.DecimalField(
        max_digits=12,
        decimal_places=4,
        required=False,
        allow_null=True,
        default=None,
        validators=[not_below_zero],
    )
    supplier_item = fields.TextField(max_length=60, required=False, allow_blank=True, default="")
    least_life_days = fields.WholeField(
        min_value=0, max_value=3650, required=False, allow_null=True, default=None,
        help_text="Shelf life that must be left on arrival; empty: as agreed with the supplier.",
    )  # fmt: skip


class NewOrderSerializer(StrictSerializer):
    """An order written by hand or by the ordering system; it begins as a draft."""

    site = fields.SiteField()
    supplier = fields.RelatedIdField(queryset=Supplier.objects.all())
    remarks = fields.TextField(max_length=400, required=False, allow_blank=True, default="")
    lines = NewLineSerializer(many=True, allow_empty=False, max_length=200)


class PlacementSerializer(StrictSerializer):
    below_least = fields.YesNoField(required=False, default=False)
    mail = fields.YesNoField(
        required=False, default=False, help_text="Send the PDF to the supplier's order address."
    )


class ConfirmedLineSerializer(StrictSerializer):
    line = fields.IdField()
    packs = fields.WholeField(min_value=0, max_value=100_000)
    due_on = fields.DayField()


class ConfirmationSerializer(StrictSerializer):
    """What the supplier confirms; lines left out are confirmed as ordered."""

    reference = fields.TextField(max_length=80, required=False, allow_blank=True, default="")
    lines = ConfirmedLineSerializer(many=True, required=False, default=list, max_length=200)


class AnnouncedLineSerializer(StrictSerializer):
    line = fields.IdField(help_text="Id of the order's line.")
    due_on = fields.DayField(help_text="Day on which it will arrive.")
    last_packs = fields.WholeField(
        min_value=0, max_value=100_000, required=False, allow_null=True, default=None,
        help_text="Packs that come, where no more of the line will follow; null: more may.",
    )  # fmt: skip


class AnnouncementSerializer(StrictSerializer):
    """What the supplier announces of a delivery; lines left out stay as they are."""

    reference = fields.TextField(
        max_length=80, required=False, allow_blank=True, default="",
        help_text="The supplier's number; kept where the order has none yet.",
    )  # fmt: skip
    lines = AnnouncedLineSerializer(many=True, allow_empty=False, max_length=200)


class OrderedContainerSerializer(StrictSerializer):
    quantity = fields.DecimalField(**QUANTITY, validators=[above_zero])
    code = fields.TextField(max_length=60, required=False, allow_blank=True, default="")
    location = fields.RelatedIdField(
        queryset=Location.objects.all(), required=False, allow_null=True, default=None
    )


class OrderedLineSerializer(StrictSerializer):
    line = fields.IdField()
    lot_code = fields.TextField(max_length=40)
    made_on = fields.DayField(required=False, allow_null=True, default=None)
    expires_on = fields.DayField(required=False, allow_null=True, default=None)
    certificate = fields.TextField(max_length=200, required=False, allow_blank=True, default="")
    containers = OrderedContainerSerializer(many=True, allow_empty=False, max_length=500)


class OrderReceiptSerializer(StrictSerializer):
    """Goods of one delivery against the lines of an order, all or nothing."""

    received_at = fields.HappenedField(required=False)
    accept_over = fields.YesNoField(required=False, default=False)
    goods = OrderedLineSerializer(many=True, allow_empty=False, max_length=100)


class ReasonSerializer(StrictSerializer):
    reason = fields.TextField(max_length=200, required=False, allow_blank=True, default="")
