"""REST form of an event; webhooks post the same."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shared.api.serializers import StrictSerializer
from shared.events.kinds import EventKind, ObjectKind


class AboutSerializer(StrictSerializer):
    """The object an event is about."""

    kind = serializers.ChoiceField(ObjectKind.choices, help_text="What kind of object it is.")
    id = serializers.CharField(help_text="Id of the row, as the API gives it.")


class EventFactsSerializer(StrictSerializer):
    """Names of what an event is about; each is there where it applies."""

    order = serializers.CharField(required=False, help_text="Id of the tool order.")
    number = serializers.CharField(
        required=False, help_text="The shop's own number of the tool order or purchase order."
    )
    customer_reference = serializers.CharField(
        required=False, allow_blank=True, help_text="The ordering system's own name for the order."
    )
    pour = serializers.CharField(required=False, help_text="Id of the pour.")
    half = serializers.CharField(required=False, help_text="Half of the tool that is cast.")
    batch = serializers.CharField(required=False, help_text="Number of the batch.")
    lifts = serializers.ListField(
        child=serializers.IntegerField(min_value=1),
        required=False,
        help_text="Numbers of the lifts that were poured, from the bottom.",
    )
    tool = serializers.CharField(required=False, help_text="Code of the tool.")
    material = serializers.CharField(required=False, help_text="Code of the material.")
    material_name = serializers.CharField(required=False)
    unit = serializers.CharField(
        required=False, help_text="What quantities of the event are counted in."
    )
    lot = serializers.CharField(required=False, help_text="Code of the lot.")
    purchase_order = serializers.CharField(
        required=False, help_text="Id of the purchase order that goods came for."
    )
    supplier = serializers.CharField(required=False, help_text="Name of the supplier.")


class EventDataSerializer(EventFactsSerializer):
    """What happened, and names of what it is about, such as order or lot."""

    version = serializers.IntegerField(help_text="Of this form; members are only ever added.")
    site = serializers.CharField(help_text="Code of the site.")
    object = AboutSerializer()
    sequence = serializers.IntegerField(
        min_value=1, help_text="Of this event among those of its object, from 1 without gaps."
    )
    at = serializers.DateTimeField(help_text="When it happened.")
    reason = serializers.CharField(allow_blank=True, help_text="Why; up to 200 characters.")
    old = serializers.DictField(help_text="What was, by name, where something changed.")
    new = serializers.DictField(
        help_text="What is, by name. Of a casting that is planned: pour_from, when pouring "
        "begins; done_at, when its last step is done; late_min, minutes by which that is after "
        "its due day."
    )

    def to_representation(self, instance: Any) -> Any:
        """Return the stored payload as it is: it was written in this form."""
        return instance


class EventSerializer(StrictSerializer):
    """One event, in the form of Standard Webhooks: type, timestamp and data, and its id."""

    id = serializers.CharField(help_text="The same in the feed and in every webhook attempt.")
    type = serializers.ChoiceField(EventKind.choices, help_text="What happened.")
    timestamp = serializers.DateTimeField(help_text="When it happened, as data.at.")
    data = EventDataSerializer()


class FeedSerializer(StrictSerializer):
    """Some events and where to go on."""

    items = EventSerializer(many=True)
    cursor = serializers.CharField(help_text="Keep it; ask with after=cursor for what follows.")
    more = serializers.BooleanField(help_text="Whether more is there already.")
    next = serializers.CharField(help_text="The address to ask next, always there.")
