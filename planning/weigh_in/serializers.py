"""REST forms of weigh-ins and log entries."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from planning.batches.lines import live_bounds
from planning.batches.models import Batch, BatchEntry, BatchLine, BatchPortion, EntryKind, Weighing
from planning.batches.serializers import BatchLineSerializer, BatchSerializer
from planning.clocks.deadline import Deadline, deadlines
from planning.core.casting.line_bounds import Bounds
from planning.weigh_in import alarms
from planning.weigh_in.models import GateRecord
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop import stores
from shop.stores_types import SystemInfo

KG = {"max_digits": 10, "decimal_places": 4}
FOLLOWS = {
    EntryKind.UNSTIRRED: "it follows from a weighing out of a can that is not signed as stirred: "
    "post the weighing.",
    EntryKind.REWEIGHED: "it follows from putting a weighing right: post an amendment of the "
    "weighing.",
}
"""Kinds of entries that the shop writes by itself, with what to post instead."""


class AlarmSerializer(serializers.Serializer):
    """Trouble at a pot that nobody has called over yet, and the usual care."""

    id = serializers.CharField(help_text="Of its entry in the log.")
    kind = serializers.CharField(help_text="hot_pot, leak_seen, spill or short_seen.")
    label = serializers.CharField()
    at = serializers.DateTimeField()
    by = serializers.CharField(allow_blank=True)
    what_to_do = serializers.ListField(child=serializers.CharField())


class LiveLineSerializer(BatchLineSerializer):
    """One row to weigh; aim and bounds follow what is in the pot by now."""

    aim_kg = serializers.SerializerMethodField()
    low_kg = serializers.SerializerMethodField()
    high_kg = serializers.SerializerMethodField()

    @extend_schema_field(serializers.DecimalField(**KG))
    def get_aim_kg(self, line: BatchLine) -> str:
        """Return what to aim at: the last row makes up for what the others got."""
        return f"{self._bounds(line).aim_g / 1000:.4f}"

    @extend_schema_field(serializers.DecimalField(**KG))
    def get_low_kg(self, line: BatchLine) -> str:
        """Return the least that keeps the ratio, whatever the other rows get in their bounds."""
        return f"{self._bounds(line).low_g / 1000:.4f}"

    @extend_schema_field(serializers.DecimalField(**KG))
    def get_high_kg(self, line: BatchLine) -> str:
        """Return the most that keeps the ratio, whatever the other rows get in their bounds."""
        return f"{self._bounds(line).high_g / 1000:.4f}"

    def _bounds(self, line: BatchLine) -> Bounds:
        """Return a row's bounds, worked out for a batch at once and systems for a list at once."""
        known: dict[int, Bounds] = self.context.setdefault("bounds", {})
        if line.pk not in known:
            systems: dict[int, SystemInfo] = self.context.setdefault("systems", {})
            if line.batch.system_id not in systems:
                systems.update({info.id: info for info in stores.systems()})
            known.update(live_bounds(line.batch, systems[line.batch.system_id]))
        return known[line.pk]

    class Meta(BatchLineSerializer.Meta):
        fields = [*BatchLineSerializer.Meta.fields, "aim_kg"]
        read_only_fields = fields


class LiveBatchSerializer(BatchSerializer):
    """
    A batch: one mix, one pot, one clock.

    `pot_life_min` is the planned pot life; `pour_by` counts from first contact and from the
    temperatures really seen, as every page and sheet shows it.
    """

    lines = LiveLineSerializer(many=True, read_only=True)
    pour_by = serializers.SerializerMethodField()
    pour_by_basis = serializers.SerializerMethodField()
    alarms = serializers.SerializerMethodField()

    @extend_schema_field(OpenApiTypes.DATETIME)
    def get_pour_by(self, batch: Batch) -> datetime:
        """Return when the pot life ends."""
        return self._deadline(batch).pour_by

    def get_pour_by_basis(self, batch: Batch) -> str:
        """Return what that rests on."""
        return self._deadline(batch).basis

    @extend_schema_field(AlarmSerializer(many=True))
    def get_alarms(self, batch: Batch) -> list[dict[str, Any]]:
        """Return the trouble that is not over."""
        return [
            dict(AlarmSerializer(alarms.plain(one)).data)
            for one in alarms.open_of(batch.entries.all())
        ]

    def _deadline(self, batch: Batch) -> Deadline:
        """Return a batch's deadline, read for a whole list at once."""
        known: dict[int, Deadline] = self.context.setdefault("deadlines", {})
        if batch.pk not in known:
            listed = self.parent is not None and self.parent.instance
            known.update(deadlines(listed or [batch]))
        return known[batch.pk]

    class Meta(BatchSerializer.Meta):
        fields = [*BatchSerializer.Meta.fields, "pour_by", "pour_by_basis", "alarms"]
        read_only_fields = [name for name in fields if name != "pinned"]


class NewWeighingSerializer(StrictSerializer):
    """What the scale showed for one row of the sheet."""

    line = fields.RelatedIdField(queryset=BatchLine.objects.all())
    weighed_kg = fields.DecimalField(**KG)
    at = fields.HappenedField(required=False, help_text="When it was weighed; now if left out.")
    container_code = fields.TextField(
        required=False, max_length=60, allow_blank=True, default="", help_text="As scanned."
    )
    reason = fields.TextField(required=False, max_length=200, allow_blank=True, default="")
    already = fields.YesNoField(
        required=False,
        default=False,
        help_text="It is in the pot: recorded also from a lot that is held or expired by now.",
    )
    gate_reason = fields.TextField(
        required=False,
        max_length=200,
        allow_blank=True,
        default="",
        help_text="Why it is weighed although the can is not signed as stirred.",
    )
    decided_by = fields.TextField(
        required=False, max_length=80, allow_blank=True, default="", help_text="Who decides that."
    )
    already_kg = fields.DecimalField(
        required=False,
        allow_null=True,
        min_value=0,
        help_text="What the caller knows to be weighed into this row, 0 if left out; refused "
        "where it is not so.",
        **KG,
    )


class NewAmendmentSerializer(StrictSerializer):
    """What a weighing really was, and how that is known."""

    weighing = fields.RelatedIdField(queryset=Weighing.objects.select_related("line"))
    to_kg = fields.DecimalField(**KG)
    reason = fields.TextField(max_length=200)


class AmendmentSerializer(serializers.Serializer):
    """A weighing put right, how far the ratio is off, and the castings in quarantine."""

    id = serializers.CharField()
    from_kg = serializers.DecimalField(**KG)
    to_kg = serializers.DecimalField(**KG)
    reason = serializers.CharField()
    at = serializers.DateTimeField()
    off_percent = serializers.FloatField(allow_null=True)
    quarantined = serializers.ListField(child=serializers.CharField())


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
    mix_c = fields.DecimalField(
        required=False, min_value=-30, max_value=100, max_digits=5, decimal_places=1
    )
    mix_f = fields.DecimalField(
        required=False, min_value=-22, max_value=212, max_digits=5, decimal_places=1,
        help_text="Or mix_c; one of the two. It is kept in °C.",
    )  # fmt: skip
    pot_c = fields.DecimalField(
        required=False, min_value=-30, max_value=300, max_digits=5, decimal_places=1
    )


class KindField(fields.ChoiceField):
    """A kind of entry that a caller may tell; what the shop writes by itself is refused."""

    def to_internal_value(self, data: Any) -> Any:
        """Return the kind; of one that follows from something else, say from what."""
        if isinstance(data, str) and data in FOLLOWS:
            words = FOLLOWS[EntryKind(data)]
            raise fields.refuse(f"is {data}; {words}", "written_by_the_shop")
        return super().to_internal_value(data)


class NewEntrySerializer(StrictSerializer):
    """
    Something that happened to a batch.

    First contact and pouring are refused while something stands in the way; see the batch's gate.
    `mixed` tells when mixing ended, where that was before the pouring. What follows from a
    weighing, `unstirred` and `reweighed`, is written by the shop alone.
    """

    kind = KindField(choices=[row for row in EntryKind.choices if row[0] not in FOLLOWS])
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
    line = fields.RelatedIdField(queryset=BatchLine.objects.all(), required=False, allow_null=True)
    container_code = fields.TextField(
        required=False,
        max_length=60,
        allow_blank=True,
        default="",
        help_text="The can that is stirred or ran empty, as scanned; left out, that of the line.",
    )
    already = fields.YesNoField(
        required=False,
        default=False,
        help_text="It has happened: recorded whatever stands in its way, castings quarantined.",
    )
    confirmed = fields.YesNoField(
        required=False,
        default=False,
        help_text="The mix really has this temperature: without this one that is unusual for the "
        "shop and the plan is refused as `implausible`.",
    )
    gate_reason = fields.TextField(
        required=False,
        max_length=200,
        allow_blank=True,
        default="",
        help_text="Why to go on although something stands in the way that a reason passes.",
    )
    decided_by = fields.TextField(
        required=False, max_length=80, allow_blank=True, default="", help_text="Who decides that."
    )


class GateRecordSerializer(StrictModelSerializer):
    """What stood in the way of a contact or pour, and on whose word it went on."""

    class Meta:
        model = GateRecord
        fields = ["late", "hindrances", "reason", "decided_by"]
        read_only_fields = fields


class HindranceSerializer(serializers.Serializer):
    """One thing that stands in the way of mixing or pouring."""

    code = serializers.CharField()
    words = serializers.CharField()
    what_to_do = serializers.CharField()
    reason_passes = serializers.BooleanField()
    clears_at = serializers.DateTimeField(allow_null=True)


class PortionGateSerializer(serializers.Serializer):
    """What a portion gets from what is really in the pot, and what stands in its way."""

    portion = serializers.CharField()
    offered_kg = serializers.DecimalField(max_digits=10, decimal_places=4)
    hindrances = HindranceSerializer(many=True)


class GateSerializer(serializers.Serializer):
    """Whether a pot may be mixed and its portions poured, as things stand now."""

    contact = HindranceSerializer(many=True)
    portions = PortionGateSerializer(many=True)
    pourable_kg = serializers.DecimalField(max_digits=16, decimal_places=8)
    missing_kg = serializers.DecimalField(max_digits=16, decimal_places=8)
    over_kg = serializers.DecimalField(max_digits=16, decimal_places=8)
    pour_by = serializers.DateTimeField()
    pot_life_min = serializers.IntegerField()
    pot_life_basis = serializers.CharField()


class EntrySerializer(StrictModelSerializer):
    """An entry of a batch's log; `photo` is where its picture is, empty without one."""

    photo = serializers.SerializerMethodField()
    gate = GateRecordSerializer(read_only=True, allow_null=True, default=None)

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
            "line",
            "container",
            "gate",
            "facts",
            "words",
            "photo",
        ]
        read_only_fields = fields
