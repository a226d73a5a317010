"""REST forms of cure clocks, temperatures and demouldings."""

from __future__ import annotations

from datetime import datetime

from rest_framework import serializers

from planning.clocks.models import Cure, OvenStay, TemperatureReading, Waits
from planning.clocks.standing import Standing, standing_of
from planning.clocks.words import waits_for
from planning.cures.models import Demould
from planning.pours.models import Pour
from shared import clock
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class CureSerializer(StrictModelSerializer):
    """
    The clock of one lift, and what it means for its casting.

    Times named `_best_at` are the best estimates, all others stand on the careful side. What may
    be done is said for the whole casting: `may_demould`, `may_pour_over`, `casting_ready_at`.
    """

    pour = fields.IdField(source="lift.pour_id", read_only=True)
    lift_number = serializers.IntegerField(source="lift.number", read_only=True)
    asks = serializers.ListField(child=serializers.CharField(), read_only=True)
    waits_for = serializers.ChoiceField(
        choices=Waits.choices,
        allow_blank=True,
        read_only=True,
        help_text="Why demoulding has no time; empty where it has one.",
    )
    waits_for_words = serializers.SerializerMethodField()
    may_demould = serializers.SerializerMethodField()
    may_pour_over = serializers.SerializerMethodField()
    casting_ready_at = serializers.SerializerMethodField()

    def get_waits_for_words(self, cure: Cure) -> str:
        """Return in a sentence why demoulding has no time; empty where it has one."""
        return waits_for(cure)

    def get_may_demould(self, cure: Cure) -> bool:
        """Say whether the casting may be taken off, as of the last look at its clocks."""
        stands = _stands(cure)
        return cure.done_at is None and stands is not None and stands.may_demould(clock.now())

    def get_may_pour_over(self, cure: Cure) -> bool:
        """Say whether the casting bears another lift, as of the last look at its clocks."""
        stands = _stands(cure)
        return cure.done_at is None and stands is not None and stands.may_pour_over(clock.now())

    def get_casting_ready_at(self, cure: Cure) -> datetime | None:
        """Return from when on the casting may be taken off; null where that is not known."""
        stands = _stands(cure)
        return None if stands is None else stands.ready_at

    class Meta:
        model = Cure
        fields = [
            "id",
            "pour",
            "lift_number",
            "poured_at",
            "peak_due_at",
            "peak_best_at",
            "attend_until",
            "next_opens_at",
            "opens_best_at",
            "next_closes_at",
            "closes_best_at",
            "demould_due_at",
            "demould_best_at",
            "cured_due_at",
            "cured_best_at",
            "waits_for",
            "waits_for_words",
            "may_demould",
            "may_pour_over",
            "casting_ready_at",
            "asks",
            "ranged",
            "ranges",
            "holes",
            "left_out",
            "edges",
            "looked_at",
            "basis",
            "peak_c",
            "peak_passed_at",
            "peak_basis",
            "done_at",
            "etag",
        ]
        read_only_fields = fields


def _stands(cure: Cure) -> Standing | None:
    pour = cure.lift.pour
    return standing_of(pour, pour.lifts.all())


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


class OvenStaySerializer(StrictModelSerializer):
    """A casting in an oven; without `at` it went in now."""

    pour = fields.RelatedIdField(queryset=Pour.objects.all())
    at = fields.HappenedField(required=False, write_only=True)

    class Meta:
        model = OvenStay
        fields = [
            "id",
            "pour",
            "set_c",
            "at",
            "in_at",
            "out_at",
            "wrong_reason",
            "wrong_at",
            "etag",
        ]
        read_only_fields = ["id", "in_at", "out_at", "wrong_reason", "wrong_at", "etag"]


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
