"""The JSON form of checklists, findings, what a repair used, and how dimensions drift."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.lots.models import Container
from shop.registers_api import above_zero
from shop.tools.inspection_models import Checkpoint, RepairLot, RetirementReason, ToolFinding

MOST_FINDINGS = 200


class CheckpointSerializer(StrictModelSerializer):
    class Meta:
        model = Checkpoint
        fields: ClassVar = [
            "id", "site", "code", "name", "tool", "family", "unit", "nominal", "may_be_below",
            "may_be_above", "gauge_step", "in_use", "etag",
        ]  # fmt: skip


class RetirementReasonSerializer(StrictModelSerializer):
    class Meta:
        model = RetirementReason
        fields: ClassVar = ["id", "site", "code", "name", "worn", "in_use", "etag"]


class NewFindingSerializer(StrictSerializer):
    """What was found at one checkpoint: a value in its unit, or whether it is good."""

    read_as: ClassVar[Any] = None

    checkpoint = fields.RelatedIdField(queryset=Checkpoint.objects.all())
    value = fields.DecimalField(
        max_digits=12, decimal_places=4, required=False, allow_null=True,
        help_text="In the unit of the checkpoint; only where that has one.",
    )  # fmt: skip
    good = fields.YesNoField(
        required=False, allow_null=True, help_text="Only where the checkpoint has no unit."
    )
    words = fields.TextField(max_length=200, required=False, allow_blank=True)


class FindingSerializer(serializers.ModelSerializer[ToolFinding]):
    """What one inspection found at one checkpoint; limits are those that held then."""

    checkpoint = serializers.CharField(source="checkpoint_id")
    name = serializers.CharField(source="checkpoint.name")
    unit = serializers.CharField(source="checkpoint.unit")
    passes = serializers.BooleanField()

    class Meta:
        model = ToolFinding
        fields: ClassVar = [
            "checkpoint", "name", "unit", "value", "good", "lowest", "highest", "passes", "words",
        ]  # fmt: skip


class NewUsedSerializer(StrictSerializer):
    """What a repair took of one can; it leaves the can by the ledger."""

    read_as: ClassVar[Any] = None

    container = fields.RelatedIdField(queryset=Container.objects.select_related("lot__material"))
    quantity = fields.DecimalField(max_digits=12, decimal_places=4, validators=[above_zero])


class UsedSerializer(serializers.ModelSerializer[RepairLot]):
    """What a repair took of one can, with its lot."""

    container = serializers.CharField(source="container_id")
    lot = serializers.CharField(source="container.lot_id")

    class Meta:
        model = RepairLot
        fields: ClassVar = ["container", "lot", "quantity"]


NewFindingSerializer.read_as = FindingSerializer
NewUsedSerializer.read_as = UsedSerializer


class WithdrawalSerializer(StrictSerializer):
    """Why an entry was wrong."""

    words = fields.TextField(max_length=400)


class MeasurementSerializer(serializers.Serializer[Any]):
    """One measurement of a dimension, and where it stands on the line."""

    event = serializers.CharField()
    at = serializers.DateTimeField()
    place = serializers.FloatField()
    value = serializers.DecimalField(max_digits=12, decimal_places=4)
    passes = serializers.BooleanField()


class DriftSerializer(serializers.Serializer[Any]):
    """How one dimension drifts; the line's figures are null with fewer than three places."""

    checkpoint = serializers.CharField()
    name = serializers.CharField()
    unit = serializers.CharField()
    nominal = serializers.DecimalField(max_digits=12, decimal_places=4)
    lowest = serializers.FloatField()
    highest = serializers.FloatField()
    outside = serializers.BooleanField(help_text="The latest measurement is outside.")
    drifts = serializers.BooleanField(help_text="The slope's range leaves 0 out.")
    over = serializers.ChoiceField(
        choices=["shots", "days"], help_text="What the line runs over, since the first."
    )
    slope = serializers.FloatField(allow_null=True)
    slope_low = serializers.FloatField(allow_null=True)
    slope_high = serializers.FloatField(allow_null=True)
    scatter = serializers.FloatField(
        allow_null=True, help_text="Standard deviation round the line, in the unit."
    )
    may_be_outside_on = serializers.DateField(allow_null=True)
    expected_outside_on = serializers.DateField(allow_null=True)
    words = serializers.CharField()
    measurements = MeasurementSerializer(many=True, help_text="The latest 200, oldest first.")
