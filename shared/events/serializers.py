"""REST form of an event; webhooks post the same."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shared.api.serializers import StrictSerializer
from shared.events.kinds import EventKind, ObjectKind


class AboutSerializer(StrictSerializer):
    """The object an event is about."""

    kind = serializers.ChoiceField(ObjectKind.choices)
    id = serializers.CharField(help_text="Id of the row, as the API gives it.")


class EventDataSerializer(StrictSerializer):
    """What happened; further members name what the event is about, such as order or lot."""

    version = serializers.IntegerField(help_text="Of this form; members are only ever added.")
    site = serializers.CharField(help_text="Code of the site.")
    object = AboutSerializer()
    sequence = serializers.IntegerField(
        min_value=1, help_text="Of this event among those of its object, from 1 without gaps."
    )
    at = serializers.DateTimeField(help_text="When it happened.")
    reason = serializers.CharField(allow_blank=True)
    old = serializers.DictField(help_text="What was, by name, where something changed.")
    new = serializers.DictField(help_text="What is, by name.")

    def to_representation(self, instance: Any) -> Any:
        """Return the stored payload as it is: it was written in this form."""
        return instance


class EventSerializer(StrictSerializer):
    """One event, in the form of Standard Webhooks: type, timestamp and data, and its id."""

    id = serializers.CharField(help_text="The same in the feed and in every webhook attempt.")
    type = serializers.ChoiceField(EventKind.choices)
    timestamp = serializers.DateTimeField(help_text="When it happened, as data.at.")
    data = EventDataSerializer()


class FeedSerializer(StrictSerializer):
    """Some events and where to go on."""

    items = EventSerializer(many=True)
    cursor = serializers.CharField(help_text="Keep it; ask with after=cursor for what follows.")
    more = serializers.BooleanField(help_text="Whether more is there already.")
    next = serializers.CharField(help_text="The address to ask next, always there.")
