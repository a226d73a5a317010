"""REST forms of weigh-ins and log entries."""

from __future__ import annotations

from rest_framework import serializers

from planning.batches.models import BatchEntry, BatchLine, BatchPortion, EntryKind, Weighing
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer

KG = {"max_digits": 10, "decimal_places": 4}


class NewWeighingSerializer(StrictSerializer):
    """What the scale showed for one row of the sheet."""

    line = fields.RelatedIdField(queryset=BatchLine.objects.all())
    weighed_kg = fields.DecimalField(**KG)
    at = fields.HappenedField(required=False, help_text="When it was weighed; now if left out.")
    container_code = fields.TextField(
        required=False, max_length=60, allow_blank=True, default="", help_text="As scanned."
    )
    reason = fields.TextField(required=False, max_length=200, allow_blank=True, default="")
    already_kg = fields.DecimalField(
        required=False,
        allow_null=True,
        min_value=0,
        help_text="What the caller knows to be weighed into this row; refused where it is not so.",
        **KG,
    )


class WeighingSerializer(StrictModelSerializer):
    """A weighing as recorded."""

    class Meta:
        model = Weighing
        fields = ["id", "line", "container", "weighed_kg", "at", "recorded_at", "reason"]
        read_only_fields = fields


class CorrectionSerializer(serializers.Serializer):
    """How a pot stands against its ratio, and what to add."""

    error_percent = serializers.FloatField()
    within_tolerance = serializers.BooleanField()
    add = serializers.CharField(allow_blank=True, help_text="resin, hardener or nothing.")
    add_g = serializers.FloatField()
    new_total_g = serializers.FloatField()
    error_after_percent = serializers.FloatField()
    problems = serializers.ListField(child=serializers.CharField())


class WeighedSerializer(serializers.Serializer):
    """A weighing, whether the batch may be mixed now, and what to add if it may not."""

    weighing = WeighingSerializer()
    ready = serializers.BooleanField()
    correction = CorrectionSerializer(allow_null=True)


class FactsSerializer(StrictSerializer):
    """Figures of an entry, each with its unit in the name."""

    kg = fields.DecimalField(required=False, min_value=0, **KG)
    air_c = fields.DecimalField(
        required=False, min_value=-30, max_value=60, max_digits=5, decimal_places=1
    )
    surface_c = fields.DecimalField(
        required=False, min_value=-30, max_value=200, max_digits=5, decimal_places=1
    )
    humidity_percent = fields.DecimalField(
        required=False, min_value=1, max_value=100, max_digits=4, decimal_places=1
    )
    pot_c = fields.DecimalField(
        required=False, min_value=-30, max_value=300, max_digits=5, decimal_places=1
    )


class NewEntrySerializer(StrictSerializer):
    """Something that happened to a batch."""

    kind = fields.ChoiceField(choices=EntryKind.choices)
    at = fields.HappenedField(required=False)
    portion = fields.RelatedIdField(
        queryset=BatchPortion.objects.all(),
        required=False,
        allow_null=True,
    )
    facts = FactsSerializer(required=False)
    words = fields.TextField(required=False, max_length=400, allow_blank=True, default="")
    amends = fields.RelatedIdField(
        queryset=BatchEntry.objects.all(), required=False, allow_null=True
    )


class EntrySerializer(StrictModelSerializer):
    """An entry of a batch's log; `photo` is where its picture is, empty without one."""

    photo = serializers.SerializerMethodField()

    def get_photo(self, entry: BatchEntry) -> str:
        """Return the address of the photo."""
        return f"/api/v1/batches/{entry.batch_id}/photos/{entry.pk}" if entry.photo else ""

    class Meta:
        model = BatchEntry
        fields = [
            "id",
            "batch",
            "kind",
            "at",
            "recorded_at",
            "portion",
            "amends",
            "facts",
            "words",
            "photo",
        ]
        read_only_fields = fields
