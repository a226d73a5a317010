"""The JSON form of tools, their halves and what happened to them."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shared.api.uploads import UploadField
from shop.lots.models import Container
from shop.registers_api import above_zero
from shop.tools.actions import ENTERED
from shop.tools.face import MOST_COATS
from shop.tools.inspection_serializers import (
    MOST_FINDINGS,
    FindingSerializer,
    NewFindingSerializer,
    NewUsedSerializer,
    UsedSerializer,
)
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolFamily, ToolHalf
from shop.tools.repairing import MOST_LOTS, USUAL_REASONS
from shop.tools.runs import MOST_SHOTS

MOST_SO_FAR = 100_000_000


class ToolHalfSerializer(StrictModelSerializer):
    class Meta:
        model = ToolHalf
        fields: ClassVar = ["half", "casting", "demoulded_at", "service_c", "verdict"]


class ToolSerializer(StrictModelSerializer):
    halves = ToolHalfSerializer(many=True, read_only=True)
    in_service_since = fields.DayField(
        required=False, allow_null=True, write_only=True,
        help_text="Of a new row, a tool in use already: since when.",
    )  # fmt: skip
    shots_so_far = fields.WholeField(
        required=False, allow_null=True, write_only=True, min_value=0, max_value=MOST_SO_FAR,
        help_text="Of a new row, a tool in use already: parts made on it before now.",
    )  # fmt: skip

    class Meta:
        model = Tool
        fields: ClassVar = [
            "id", "site", "code", "name", "kind", "status", "customer", "service_c",
            "family", "expected_shots", "promised_shots", "surface", "face_m2",
            "release_recipe",
            "shots_per_coat", "shots_per_inspection", "days_per_inspection", "clamp_limit_kn",
            "location", "replaces", "in_use", "halves", "in_service_since", "shots_so_far", "etag",
        ]  # fmt: skip
        read_only_fields = ("status",)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Take what was before its record only with a new row."""
        wrong = [n for n in ("in_service_since", "shots_so_far") if self.instance and n in values]
        if wrong:
            words = "is told when the tool is entered; add a run of shots or an event instead."
            raise serializers.ValidationError(
                {name: [fields.detail(words, "new_rows_only")] for name in wrong}
            )
        return super().validate(values)


class ToolFamilySerializer(StrictModelSerializer):
    class Meta:
        model = ToolFamily
        fields: ClassVar = [
            "id", "site", "code", "name", "stated_shots", "source", "in_use", "etag",
        ]  # fmt: skip


class SpreadSerializer(serializers.Serializer[Any]):
    """A figure, and the range that holds the true one in 90 of 100 cases."""

    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class SurvivalSerializer(serializers.Serializer[Any]):
    """Share of tools still going after some shots, by Kaplan and Meier, with its 90 % range."""

    shots = serializers.FloatField()
    at_risk = serializers.IntegerField()
    failures = serializers.IntegerField()
    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class FamilyLifeSerializer(serializers.Serializer[Any]):
    """What failures, sound tools and stated life say; figures are null where nothing is known."""

    family = serializers.CharField()
    basis = serializers.CharField()
    contradiction = serializers.CharField(allow_blank=True)
    stated_shots = serializers.FloatField(allow_null=True)
    failures = serializers.IntegerField()
    sound = serializers.IntegerField()
    median_shots = SpreadSerializer(allow_null=True)
    scale_shots = SpreadSerializer(allow_null=True)
    shape = SpreadSerializer(allow_null=True)
    survival = SurvivalSerializer(many=True)


class ShotsLeftSerializer(serializers.Serializer[Any]):
    """Further shots: `kept` with a chance of 90 %, `middle` with 50 %, 90 % between the ends."""

    low = serializers.FloatField()
    kept = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class ToolLifeSerializer(serializers.Serializer[Any]):
    """What one tool is likely to do; figures are null where nothing is known of its family."""

    family = serializers.CharField()
    basis = serializers.CharField()
    contradiction = serializers.CharField(allow_blank=True)
    shots = serializers.IntegerField()
    promised_shots = serializers.IntegerField()
    chance_of_promised = SpreadSerializer(allow_null=True)
    shots_left = ShotsLeftSerializer(allow_null=True)
    lasts_to = serializers.DateField(allow_null=True)
    cast_replacement_by = serializers.DateField(allow_null=True)
    lead = serializers.CharField(
        allow_blank=True, help_text="Days from ordering to the first shot, and why so many."
    )


class WorkSerializer(serializers.Serializer[Any]):
    """Something to be done to a tool; `since` is null until it is due."""

    work = serializers.CharField()
    words = serializers.CharField()
    recipe = serializers.CharField(allow_blank=True)
    due_on = serializers.DateField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


class CoatingSerializer(serializers.Serializer[Any]):
    """What is on a tool's face, and the shots after which it is coated again."""

    coats = serializers.IntegerField(source="face.coats", help_text="Since the last shot.")
    recoats = serializers.IntegerField(source="face.recoats", help_text="Since the face was bare.")
    coated_at = serializers.DateTimeField(source="face.coated_at", allow_null=True)
    shots = serializers.IntegerField(source="face.shots", help_text="On these coats.")
    next = serializers.ChoiceField(choices=["seal", "season", "re-coat", "strip"])
    shots_per_coat = serializers.IntegerField(
        source="interval.shots", allow_null=True, default=None
    )
    stated_shots_per_coat = serializers.IntegerField(
        source="interval.stated", allow_null=True, default=None
    )
    parts_stuck = serializers.IntegerField(source="interval.stuck", allow_null=True, default=None)
    chance = SpreadSerializer(
        source="interval.chance", allow_null=True, default=None,
        help_text="That coats last `shots_per_coat`; null while no part has stuck.",
    )  # fmt: skip
    basis = serializers.CharField(source="interval.words", allow_null=True, default=None)


class UpkeepSerializer(serializers.Serializer[Any]):
    """What a tool wants, now or later, and its release coats; null where nobody says how."""

    works = WorkSerializer(many=True)
    coating = CoatingSerializer(allow_null=True)


class ToolEventSerializer(StrictModelSerializer):
    kind = fields.ChoiceField(
        choices=ToolEventKind.values,
        help_text="`cast` is entered by demoulding, `correction` and `withdrawal` at the entry "
        "that they put right.",
    )
    tool = fields.RelatedIdField(queryset=Tool.objects.all())
    by = serializers.SerializerMethodField()
    facts = serializers.DictField(
        child=fields.TextField(max_length=200), required=False,
        help_text="Figures of an inspection or coat: verdict, coats, gap_mm …",
    )  # fmt: skip
    findings = NewFindingSerializer(
        many=True, required=False, max_length=MOST_FINDINGS,
        help_text="Of an inspection, along the checklist of the tool and its family.",
    )  # fmt: skip
    used = NewUsedSerializer(
        many=True, required=False, max_length=MOST_LOTS, help_text="Of a repair: cans and lots."
    )
    reason = fields.TextField(
        max_length=120, required=False, allow_blank=True,
        help_text=f"Of a retirement: {', '.join(USUAL_REASONS)}, or a retirement reason's name.",
    )  # fmt: skip
    confirmed = fields.YesNoField(
        required=False, write_only=True,
        help_text="The run really was above the tool's limits, and is then due for inspection; or "
        "the tool passes although a finding is not good, or a checkpoint was left out.",
    )  # fmt: skip
    client_reference = fields.TextField(max_length=80, required=False, write_only=True)
    coats = fields.WholeField(
        min_value=1, max_value=MOST_COATS, required=False, allow_null=True,
        help_text="Coats that went on; only for `coat`.",
    )  # fmt: skip
    container = fields.RelatedIdField(
        queryset=Container.objects.select_related("lot__material"), required=False,
        allow_null=True, help_text="The can it came from; only for `coat` and `seal`.",
    )  # fmt: skip
    quantity = fields.DecimalField(
        max_digits=12, decimal_places=4, required=False, write_only=True,
        validators=[above_zero], help_text="What went on, in the agent's unit; leaves the can.",
    )  # fmt: skip

    class Meta:
        model = ToolEvent
        fields: ClassVar = [
            "id", "tool", "kind", "at", "recorded_at", "by", "shots", "corrects",
            "temperature_c", "cycle_s", "clamp_kn", "agent", "coats", "container", "quantity",
            "findings", "used", "reason", "words", "facts", "confirmed", "client_reference",
        ]  # fmt: skip
        read_only_fields = ("corrects", "recorded_at", "agent")
        extra_kwargs: ClassVar = {"at": {"required": False}}

    def validate_kind(self, kind: str) -> str:
        """Refuse a casting, which a demoulding enters, and a correction, which names its run."""
        if kind not in ENTERED:
            others = ", ".join(ENTERED)
            raise fields.refuse(f"is not one of: {others}.", "not_a_choice", limit=others)
        return kind

    def get_by(self, row: ToolEvent) -> str:
        """Return the name of who recorded it."""
        return str(row.by) if row.by else ""

    def to_representation(self, row: Any) -> Any:
        """Write facts as text, whatever they were stored as."""
        row.facts = {str(name): str(value) for name, value in (row.facts or {}).items()}
        found = super().to_representation(row)
        found["findings"] = FindingSerializer(row.findings.all(), many=True).data
        found["used"] = UsedSerializer(row.used.all(), many=True).data
        return found


class CorrectionSerializer(StrictSerializer):
    """The shots that a run really had, and why they were entered wrongly."""

    shots = fields.WholeField(min_value=0, max_value=MOST_SHOTS)
    words = fields.TextField(max_length=400)


class CounterFileSerializer(StrictSerializer):
    """
    Runs of a press as CSV in UTF-8, `multipart/form-data`, at most 2 MB and 5,000 rows.

    Columns: `tool`, `at`, `shots` or `counter`; where known `temperature_c`, `cycle_s`,
    `clamp_kn`, `confirmed`.
    """

    site = fields.SiteField()
    file = UploadField(write_only=True)


class LoadedSerializer(serializers.Serializer[Any]):
    """What came of a file."""

    entered = serializers.IntegerField(help_text="Runs entered now.")
    known = serializers.IntegerField(help_text="Rows known from an earlier file.")
    first_readings = serializers.ListField(
        child=serializers.CharField(), help_text="Tools whose counter starts with this file."
    )
