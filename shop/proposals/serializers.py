"""REST forms of purchase proposals; money only for those who may see it."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields, shapes
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.proposals.actions import HORIZON_DAYS
from shop.proposals.models import PurchaseProposal
from shop.registers_api import PricesForFew

PACKS = shapes.rows(shapes.obj(name=shapes.TEXT, packs=shapes.COUNT))
COVERS = shapes.rows(
    shapes.obj(
        **{
            "for": shapes.told(shapes.TEXT, "The pour or need, by name."),
            "quantity": shapes.told(shapes.DECIMAL, "In the material's unit."),
        }
    )
)


class ProposalSerializer(PricesForFew, StrictModelSerializer):
    """What to order, by when, in which packs, for whom, and why in words."""

    material_code = serializers.CharField(source="material.code", read_only=True)
    supplier_code = serializers.CharField(source="supplier.code", read_only=True)
    unit = serializers.CharField(source="material.unit", read_only=True)
    packs = serializers.SerializerMethodField()
    covers = serializers.SerializerMethodField()
    late_for = serializers.ListField(child=serializers.CharField(), read_only=True)
    price_fields = ("goods_cost", "money_sentence")

    class Meta:
        model = PurchaseProposal
        fields: ClassVar = [
            "id", "site", "status", "material", "material_code", "supplier", "supplier_code",
            "order_on", "arrives_on", "quantity", "unit", "packs", "covers", "left_over",
            "usable_until", "late_for", "sentence", "money_sentence", "goods_cost", "currency",
            "proven", "gap", "worked_out_at", "decided_at", "refusal", "order", "etag",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(PACKS)
    def get_packs(self, row: PurchaseProposal) -> list[dict[str, Any]]:
        """Return the packs by name."""
        return [{"name": name, "packs": count} for name, count in row.packs]

    @extend_schema_field(COVERS)
    def get_covers(self, row: PurchaseProposal) -> list[dict[str, str]]:
        """Return what it is for."""
        return [{"for": what, "quantity": f"{quantity:.4f}"} for what, quantity in row.covers]


class RunSerializer(StrictSerializer):
    """Ask for proposals to be worked out anew."""

    site = fields.SiteField()
    days = fields.WholeField(required=False, default=HORIZON_DAYS, min_value=7, max_value=730)


class WithoutSerializer(StrictSerializer):
    """A material for which nothing is proposed."""

    material = serializers.CharField(help_text="Id of the material.")
    material_code = serializers.CharField()


class ImpossibleSerializer(WithoutSerializer):
    """A material for which nothing can be proposed, and why."""

    reason = serializers.CharField()


class RunAnswerSerializer(StrictSerializer):
    """What was worked out."""

    items = ProposalSerializer(many=True)
    no_offer = WithoutSerializer(many=True, help_text="Nobody sells these.")
    impossible = ImpossibleSerializer(many=True)
    not_in_time = WithoutSerializer(
        many=True, help_text="The time ran out before any purchase was found; there may be one."
    )


class RefusalSerializer(StrictSerializer):
    reason = fields.TextField(max_length=200)
