"""The plain form of reminders, messages and choices at the border of the API."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from planning.reminders.models import Channel, Delivery, Kind, Reminder
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class ReminderSerializer(StrictModelSerializer):
    """A reminder; `sent` and `failed` count its messages over all people and channels."""

    confirmed_by = serializers.SerializerMethodField()
    sent = serializers.IntegerField(read_only=True)
    failed = serializers.IntegerField(read_only=True)

    class Meta:
        model = Reminder
        fields: ClassVar = [
            "id",
            "site",
            "key",
            "kind",
            "subject",
            "title",
            "words",
            "due_at",
            "state",
            "told_at",
            "escalated_at",
            "confirmed_at",
            "confirmed_by",
            "sent",
            "failed",
            "version",
            "etag",
        ]
        read_only_fields = fields

    def get_confirmed_by(self, row: Reminder) -> str:
        """Return who has taken it up, empty while nobody has."""
        return str(row.confirmed_by) if row.confirmed_by_id else ""


class DeliverySerializer(StrictModelSerializer):
    """A message to one person; `doubtful` says that an earlier copy may have arrived."""

    person = serializers.SerializerMethodField()
    reminders = serializers.SerializerMethodField()

    class Meta:
        model = Delivery
        fields: ClassVar = [
            "id",
            "site",
            "person",
            "channel",
            "state",
            "due_at",
            "try_at",
            "attempts",
            "doubtful",
            "error",
            "sent_at",
            "reminders",
        ]
        read_only_fields = fields

    def get_person(self, row: Delivery) -> str:
        """Return who is told."""
        return str(row.user)

    def get_reminders(self, row: Delivery) -> list[str]:
        """Return the ids of the reminders in it."""
        return [str(item.reminder_id) for item in row.items.all()]


class NothingSerializer(StrictSerializer):
    """No members: the address says it all."""


class ChoiceSerializer(StrictSerializer):
    """On which channels the caller wants one kind of reminder at a site."""

    id = fields.IdField(read_only=True)
    site = fields.SiteField()
    kind = fields.ChoiceField(choices=Kind.choices)
    channels = serializers.ListField(
        child=fields.ChoiceField(choices=Channel.choices), allow_empty=True, max_length=4
    )

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """Return a row of choices as it is kept."""
        return {
            "id": str(instance.pk),
            "site": instance.site.code,
            "kind": instance.kind,
            "channels": list(instance.channels),
        }
