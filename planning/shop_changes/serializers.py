"""REST forms of changes in the shop and of what they break."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from planning.schedule.broken import Broken
from shared.api import fields
from shared.api.serializers import StrictSerializer
from shop import stores


class ShopChangeSerializer(StrictSerializer):
    """
    Something that changes for some days.

    An absence needs `person` and `day`, and both hours where it is not for whole days; a late
    arrival `person`, `day` and `starts`; an extra shift `person`, `day` and both hours; a closed
    day `day`; a mixer or place out of use `mixer` or `place`, `starts_at` and `ends_at`; an
    expected temperature `day` and `shop_c`. `until_day` is the last of several days.
    """

    site = fields.SiteField()
    kind = fields.ChoiceField(choices=list(stores.SHOP_CHANGES))
    person = fields.RelatedIdField(model="shop.Person", required=False, allow_null=True)
    mixer = fields.RelatedIdField(model="shop.Mixer", required=False, allow_null=True)
    place = fields.RelatedIdField(model="shop.Place", required=False, allow_null=True)
    day = fields.DayField(required=False, allow_null=True)
    until_day = fields.DayField(required=False, allow_null=True)
    starts = fields.ClockField(required=False, allow_null=True)
    ends = fields.ClockField(required=False, allow_null=True)
    starts_at = fields.PlannedField(required=False, allow_null=True)
    ends_at = fields.PlannedField(required=False, allow_null=True)
    shop_c = fields.DecimalField(required=False, allow_null=True, max_digits=4, decimal_places=1)
    reason = fields.TextField(required=False, max_length=200, allow_blank=True, default="")


class NamedRowSerializer(serializers.Serializer[Any]):
    """A row by its id and the name people use."""

    id = serializers.CharField()
    name = serializers.CharField()


class BrokenSerializer(serializers.Serializer[Any]):
    """A rule that the confirmed work breaks, with what and whom it is about."""

    rule = serializers.CharField()
    words = serializers.CharField()
    pours = NamedRowSerializer(many=True)
    batches = NamedRowSerializer(many=True)
    steps = NamedRowSerializer(many=True)
    people = NamedRowSerializer(many=True)


class EnteredRowSerializer(serializers.Serializer[Any]):
    """A row that a change was entered as: the list of the API it stands in, and its id."""

    list = serializers.CharField()
    id = serializers.CharField()


class ToldSerializer(serializers.Serializer[Any]):
    """What was entered, and what it breaks that held before."""

    kind = serializers.CharField()
    words = serializers.CharField()
    rows = EnteredRowSerializer(many=True)
    plan = serializers.CharField(allow_null=True, help_text="The plan the site works by.")
    breaks = BrokenSerializer(many=True)
    broken_before = serializers.IntegerField()


class PlanNowSerializer(serializers.Serializer[Any]):
    """The plan the site works by and what of it no longer holds now."""

    plan = serializers.CharField(allow_null=True)
    broken = BrokenSerializer(many=True)


def broken_row(one: Broken) -> dict[str, Any]:
    """Return a breach as JSON."""
    named = {
        name: [{"id": str(key), "name": words} for key, words in getattr(one, name)]
        for name in ("pours", "batches", "steps", "people")
    }
    return {"rule": one.rule, "words": one.words, **named}
