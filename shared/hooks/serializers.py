"""REST form of endpoints, their deliveries and attempts."""

from __future__ import annotations

from typing import ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shared.events.kinds import EventKind
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery


class EndpointSerializer(StrictModelSerializer):
    """An address that is told of events; its secret is shown when it is given, and not again."""

    site = fields.SiteField()
    name = fields.TextField(max_length=80)
    url = fields.TextField(max_length=500, help_text="It begins with https://.")
    kinds = serializers.ListField(
        child=fields.ChoiceField(EventKind.choices),
        required=False,
        max_length=len(EventKind.values),
        help_text="Kinds told; all when empty.",
    )

    class Meta:
        model = Endpoint
        fields: ClassVar = [
            "id", "site", "name", "url", "kinds", "paused_at", "paused_because",
            "old_secret_until", "made_at",
        ]  # fmt: skip
        read_only_fields: ClassVar = [
            "id", "paused_at", "paused_because", "old_secret_until", "made_at",
        ]  # fmt: skip
        validators: ClassVar[list[object]] = []


class SecretSerializer(EndpointSerializer):
    """An endpoint with the secret its messages are signed with, shown this once."""

    class Meta(EndpointSerializer.Meta):
        fields: ClassVar = [*EndpointSerializer.Meta.fields, "secret"]
        read_only_fields: ClassVar = [*EndpointSerializer.Meta.read_only_fields, "secret"]


class NothingSerializer(StrictSerializer):
    """A body without members."""


class PauseSerializer(StrictSerializer):
    """Why nothing is sent."""

    reason = fields.TextField(max_length=200, required=False)


class ReplaySerializer(StrictSerializer):
    """From when on everything is sent again."""

    since = fields.HappenedField(help_text="Events written from then on are sent again.")


class ReplayedSerializer(StrictSerializer):
    """How many events are sent again."""

    events = serializers.IntegerField(read_only=True)


class HookDeliverySerializer(StrictModelSerializer):
    """One event for one endpoint, and how far that is."""

    event = serializers.CharField(source="event.uid", read_only=True)
    type = serializers.CharField(source="event.kind", read_only=True)

    class Meta:
        model = HookDelivery
        fields: ClassVar = [
            "id", "endpoint", "event", "type", "state", "attempts", "try_at", "error", "doubtful",
            "ended_at",
        ]  # fmt: skip
        read_only_fields = fields


class HookAttemptSerializer(StrictModelSerializer):
    """One call of an endpoint, and what came of it."""

    class Meta:
        model = HookAttempt
        fields: ClassVar = [
            "id", "endpoint", "delivery", "message_id", "at", "took_ms", "taken", "words",
        ]  # fmt: skip
        read_only_fields = fields
