"""REST forms of cure clocks, temperatures and demouldings."""

from __future__ import annotations

from rest_framework import serializers

from planning.clocks.models import Cure, TemperatureReading
from planning.cures.models import Demould
from planning.pours.models import Pour
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class CureSerializer(StrictModelSerializer):
    """The clock of one lift."""

    pour = fields.IdField(source="lift.pour_id", read_only=True)
    lift_number = serializers.IntegerField(source="lift.number", read_only=True)

    class Meta:
        model = Cure
        fields = [
            "id",
            "pour",
            "lift_number",
            "poured_at",
            "peak_due_at",
            "next_opens_at",
            "next_closes_at",
            "demould_due_at",
            "basis",
            "peak_c",
            "peak_passed_at",
            "peak_basis",
            "done_at",
            "etag",
        ]
        read_only_fields = fields


class SeenSerializer(StrictSerializer):
    """When something was seen; now if left out."""

    at = fields.HappenedField(required=False)


class ReadingSerializer(StrictModelSerializer):
    """A temperature seen; without a pour it is the shop's air."""

    pour = fields.RelatedIdField(queryset=Pour.objects.all(), required=False, allow_null=True)

    celsius = fields.DecimalField(
        max_digits=5, decimal_places=1, required=False, help_text="Or fahrenheit; one of the two."
    )
    confirmed = fields.YesNoField(
        required=False,
        write_only=True,
        default=False,
        help_text="It is really so: without this an odd reading is refused as `implausible`.",
    )
    wrong = serializers.SerializerMethodField()

    def get_wrong(self, reading: TemperatureReading) -> str:
        """Return why it was marked wrong and no longer counts; empty where it counts."""
        found = getattr(reading, "wrong", None)
        return "" if found is None else found.reason

    class Meta:
        model = TemperatureReading
        fields = [
            "id",
            "site",
            "pour",
            "where",
            "at",
            "celsius",
            "fahrenheit",
            "height_mm",
            "confirmed",
            "wrong",
        ]


class WrongSerializer(StrictSerializer):
    """Why a temperature was not so."""

    reason = fields.TextField(max_length=200)


class DemouldSerializer(StrictModelSerializer):
    """The record of taking a casting off."""

    pour = fields.RelatedIdField(queryset=Pour.objects.all())
    at = fields.HappenedField(required=False)
    photo = serializers.SerializerMethodField()

    def get_photo(self, record: Demould) -> str:
        """Return the address of the photo, empty without one."""
        return f"/api/v1/demouldings/{record.pk}/photo" if record.photo else ""

    class Meta:
        model = Demould
        fields = [
            "id",
            "pour",
            "at",
            "verdict",
            "hardness_shore_d",
            "released_well",
            "thickness_mm",
            "defects",
            "early_reason",
            "photo",
        ]
