"""The JSON form of movements, receipts, splits, reservations and requirements."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.ledger.models import Movement, MovementKind, Requirement, Reservation
from shop.lots.models import LOT_CODE, Container
from shop.lots.serializers import ContainerSerializer, LotSerializer
from shop.materials.models import Material
from shop.materials.suppliers import Supplier
from shop.quantities import QuantityField
from shop.registers_api import PricesForFew, not_below_zero
from shop.sites.models import Location

TAKEN = [MovementKind.ISSUE, MovementKind.SAMPLE, MovementKind.SCRAP, MovementKind.RETURN]
SIDES = {
    MovementKind.SAMPLE: "sample",
    MovementKind.SCRAP: "waste",
    MovementKind.RETURN: "supplier:unknown",
}
"""The other side where the caller names none."""


class MovementSerializer(StrictModelSerializer):
    quantity = serializers.SerializerMethodField()
    by = serializers.SerializerMethodField()
    lot = fields.RelatedIdField(source="container.lot", read_only=True)

    class Meta:
        model = Movement
        fields: ClassVar = [
            "id", "key", "site", "container", "lot", "kind", "quantity", "counterpart",
            "reverses", "happened_at", "recorded_at", "by", "reason",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(QuantityField)
    def get_quantity(self, row: Movement) -> Any:
        """Return it signed: above zero into the container."""
        unit = row.container.lot.material.unit
        return QuantityField().to_representation((row.quantity, unit))

    def get_by(self, row: Movement) -> str:
        """Return the name of who recorded it."""
        return str(row.by) if row.by else ""


class NewMovementSerializer(StrictSerializer):
    """An issue, sample, scrap or return; or, with `reverses`, the undoing of a movement."""

    kind = fields.ChoiceField(choices=TAKEN, required=False)
    container = fields.RelatedIdField(
        queryset=Container.objects.select_related("lot__material"),
        required=False,
    )
    quantity = QuantityField(required=False)
    counterpart = fields.TextField(
        max_length=160,
        required=False,
        help_text="What it was used for: batch:7, pour:7, tool:7 with an id of this site, or "
        "other: with words. A return names supplier:7.",
    )
    purpose = fields.TextField(max_length=120, required=False)
    reverses = fields.RelatedIdField(queryset=Movement.objects.all(), required=False)
    happened_at = fields.HappenedField(required=False)
    reason = fields.TextField(max_length=200, required=False, allow_blank=True)
    client_reference = fields.TextField(
        max_length=80, required=False, help_text="Unique for the caller; guards for ever."
    )

    def validate(self, attrs: Any) -> Any:
        """Want either a movement to undo, or all that a new one needs."""
        new = ("kind", "container", "quantity")
        if "reverses" in attrs:
            wrong = [name for name in (*new, "counterpart", "purpose") if name in attrs]
            words = "does not go with reverses; a reversal takes everything from its original."
        else:
            wrong = [name for name in new if name not in attrs]
            if attrs.get("kind") == MovementKind.ISSUE and not attrs.get("counterpart"):
                wrong.append("counterpart")
            words = "is missing."
        if "reverses" in attrs and not attrs.get("reason"):
            wrong, words = [*wrong, "reason"], "is missing; say what was wrong."
        if wrong:
            raise serializers.ValidationError(
                {name: [fields.detail(words, "required")] for name in wrong}
            )
        return attrs


class SplitSerializer(StrictSerializer):
    """Part of a container into another one of its lot, or into a new one."""

    container = fields.RelatedIdField(queryset=Container.objects.select_related("lot__material"))
    quantity = QuantityField()
    into = fields.RelatedIdField(queryset=Container.objects.all(), required=False)
    code = fields.TextField(max_length=60, required=False, validators=[LOT_CODE])
    location = fields.RelatedIdField(queryset=Location.objects.all(), required=False)
    reason = fields.TextField(max_length=200, required=False)


class PartSerializer(StrictSerializer):
    container = fields.RelatedIdField(queryset=Container.objects.select_related("lot__material"))
    quantity = QuantityField()


class MixSerializer(StrictSerializer):
    """Several lots of one material into one can, a mixed lot as old as the oldest part."""

    parts = PartSerializer(many=True, allow_empty=False, max_length=20)
    into = fields.RelatedIdField(
        queryset=Container.objects.all(),
        required=False,
        help_text="A can of a mixed lot to fill up; left out: a new one.",
    )
    location = fields.RelatedIdField(queryset=Location.objects.all(), required=False)
    reason = fields.TextField(max_length=200, required=False)


class ReceivedContainerSerializer(StrictSerializer):
    quantity = QuantityField(required=False)
    location = fields.RelatedIdField(queryset=Location.objects.all(), required=False)
    code = fields.TextField(max_length=60, required=False, validators=[LOT_CODE])


class ReceivedLotSerializer(PricesForFew, StrictSerializer):
    """One lot of a delivery; what the `scan` of its label says need not be typed."""

    price_fields = ("unit_cost",)
    scan = fields.TextField(max_length=400, required=False)
    material = fields.RelatedIdField(queryset=Material.objects.all(), required=False)
    supplier = fields.RelatedIdField(queryset=Supplier.objects.all(), required=False)
    lot_code = fields.TextField(max_length=40, required=False, validators=[LOT_CODE])
    made_on = fields.DayField(required=False, allow_null=True)
    expires_on = fields.DayField(required=False, allow_null=True)
    unit_cost = fields.DecimalField(
        max_digits=12, decimal_places=4, required=False, validators=[not_below_zero]
    )
    certificate = fields.TextField(max_length=200, required=False)
    containers = ReceivedContainerSerializer(many=True, required=False, max_length=500)


class ReceiptSerializer(StrictSerializer):
    site = fields.SiteField()
    received_at = fields.HappenedField(required=False)
    reason = fields.TextField(max_length=200, required=False)
    goods = ReceivedLotSerializer(many=True, allow_empty=False, max_length=100)


class ScanSerializer(StrictSerializer):
    text = fields.TextField(max_length=400, trim_whitespace=False)
    site = fields.SiteField()
    supplier = fields.RelatedIdField(queryset=Supplier.objects.all(), required=False)


class ReservationSerializer(StrictModelSerializer):
    quantity = serializers.SerializerMethodField()

    class Meta:
        model = Reservation
        fields: ClassVar = ["id", "container", "purpose", "quantity", "needed_at", "created_at"]
        read_only_fields = fields

    @extend_schema_field(QuantityField)
    def get_quantity(self, row: Reservation) -> Any:
        """Return what is set aside."""
        unit = row.container.lot.material.unit
        return QuantityField().to_representation((row.quantity, unit))


class RequirementSerializer(StrictModelSerializer):
    quantity = serializers.SerializerMethodField()

    class Meta:
        model = Requirement
        fields: ClassVar = [
            "id", "site", "material", "source", "label", "quantity", "needed_at", "firm",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(QuantityField)
    def get_quantity(self, row: Requirement) -> Any:
        """Return what is needed."""
        return QuantityField().to_representation((row.quantity, row.material.unit))


class TakenInSerializer(StrictSerializer):
    """One lot of a delivery as it was taken in."""

    lot = LotSerializer()
    containers = ContainerSerializer(many=True)
    expiry_from = serializers.CharField(
        allow_null=True, help_text="What set the expiry: label or shelf life."
    )
    warnings = serializers.ListField(child=serializers.CharField())


class ReceivedSerializer(StrictSerializer):
    """A delivery as it was taken in."""

    lots = TakenInSerializer(many=True)
