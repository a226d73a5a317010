"""The JSON form of what a site works with."""

from __future__ import annotations

from typing import ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer
from shop.registers_api import above_zero, between, not_below_zero
from shop.sites import models

THING = ["id", "site", "code", "name", "in_use"]
POSITIVE = {"validators": [above_zero]}


class ShiftSerializer(StrictModelSerializer):
    person = fields.RelatedIdField(queryset=models.Person.objects.all())

    class Meta:
        model = models.Shift
        fields: ClassVar = ["id", "person", "weekday", "starts", "ends"]


class DayChangeSerializer(StrictModelSerializer):
    person = fields.RelatedIdField(queryset=models.Person.objects.all())

    class Meta:
        model = models.DayChange
        fields: ClassVar = ["id", "person", "day", "starts", "ends", "extra", "reason"]


class PersonSerializer(StrictModelSerializer):
    skills = serializers.ListField(
        child=fields.TextField(max_length=40), max_length=40, required=False
    )
    shifts = ShiftSerializer(many=True, read_only=True)

    class Meta:
        model = models.Person
        fields: ClassVar = [*THING, "skills", "shifts", "etag"]


class MixerSerializer(StrictModelSerializer):
    class Meta:
        model = models.Mixer
        fields: ClassVar = [*THING, "largest_kg", "least_kg", "etag"]
        extra_kwargs: ClassVar = {
            "largest_kg": POSITIVE,
            "least_kg": {"validators": [not_below_zero]},
        }


class ScaleSerializer(StrictModelSerializer):
    class Meta:
        model = models.Scale
        fields: ClassVar = [*THING, "capacity_kg", "readability_g", "next_check_on", "etag"]
        extra_kwargs: ClassVar = {"capacity_kg": POSITIVE, "readability_g": POSITIVE}


class PlaceSerializer(StrictModelSerializer):
    class Meta:
        model = models.Place
        fields: ClassVar = [*THING, "kind", "capacity", "etag"]


class LocationSerializer(StrictModelSerializer):
    class Meta:
        model = models.Location
        fields: ClassVar = [*THING, "lowest_c", "highest_c", "etag"]


class ClosedDaySerializer(StrictModelSerializer):
    class Meta:
        model = models.ClosedDay
        fields: ClassVar = ["id", "site", "day", "reason"]


class OutageSerializer(StrictModelSerializer):
    mixer = fields.RelatedIdField(
        queryset=models.Mixer.objects.all(), required=False, allow_null=True
    )
    place = fields.RelatedIdField(
        queryset=models.Place.objects.all(), required=False, allow_null=True
    )

    starts_at = fields.PlannedField()
    ends_at = fields.PlannedField()

    class Meta:
        model = models.Outage
        fields: ClassVar = ["id", "site", "mixer", "place", "starts_at", "ends_at", "reason"]


class ExpectedTemperatureSerializer(StrictModelSerializer):
    class Meta:
        model = models.ExpectedTemperature
        fields: ClassVar = ["id", "site", "day", "shop_c"]
        extra_kwargs: ClassVar = {"shop_c": {"validators": [between(0, 45, "°C")]}}


class StorageSpellSerializer(StrictModelSerializer):
    location = fields.RelatedIdField(queryset=models.Location.objects.all())

    class Meta:
        model = models.StorageSpell
        fields: ClassVar = [
            "id", "location", "starts_at", "ends_at", "lowest_c", "mean_c", "highest_c",
        ]  # fmt: skip
