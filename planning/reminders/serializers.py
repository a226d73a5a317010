"""The plain form of reminders, messages and choices at the border of the API."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from planning.reminders.models import Channel, Delivery, Kind, Reminder, ReminderSettings
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


class SettingsSerializer(StrictModelSerializer):
    """
    How the caller may be reached, and when not.

    Quiet hours are local times of the site a reminder comes from; both null for none. A new
    `webhook_url` is answered with its new secret in `webhook_secret`, once; empty turns it off.
    """

    quiet_from = fields.ClockField(required=False, allow_null=True, format="%H:%M")
    quiet_until = fields.ClockField(required=False, allow_null=True, format="%H:%M")
    webhook_url = fields.TextField(required=False, max_length=300, allow_blank=True)

    class Meta:
        model = ReminderSettings
        fields: ClassVar = [
            "id", "quiet_from", "quiet_until", "webhook_url", "webhook_off", "etag",
        ]  # fmt: skip
        read_only_fields: ClassVar = ["id", "webhook_off", "etag"]


class NewSettingsSerializer(SettingsSerializer):
    """The settings after a change, with the secret of a new webhook."""

    webhook_secret = serializers.SerializerMethodField()

    class Meta(SettingsSerializer.Meta):
        fields: ClassVar = [*SettingsSerializer.Meta.fields, "webhook_secret"]

    def get_webhook_secret(self, row: ReminderSettings) -> str:
        """Return a secret made just now; empty otherwise, and never again."""
        return str(getattr(row, "shown_once", ""))
