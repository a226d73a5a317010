"""
What people are to be told and when, and each message that tells them.

A reminder is a promise about one thing; a delivery is one message to one person on one channel.
Both are rows, so that a restart or a lost broker loses nothing. `version` counts the moves of a
reminder; a delivery names the version it was made for and is dropped when that has passed.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from shared.sealed import SealedField


class Kind(models.TextChoices):
    CURE_COMPLETE = "cure_complete", "Cure complete"
    NEXT_LIFT_OPENS = "next_lift_opens", "Next lift may be poured"
    NEXT_LIFT_CLOSES = "next_lift_closes", "Next lift: last chance to bond"
    COATS_DRY = "coats_dry", "Coat dry"
    UNATTENDED_PEAK = "unattended_peak", "Peak with nobody in the shop"
    LOT_EXPIRES = "lot_expires", "Lot soon expired"
    TOOL_DUE = "tool_due", "Tool due for a re-coat or inspection"
    ORDER_LATE = "order_late", "Order late"
    ALARM = "alarm", "Trouble at a pot"
    POT_LIFE_ENDS = "pot_life_ends", "Pot life soon over"


class Channel(models.TextChoices):
    TODAY = "today", "Today page"
    EMAIL = "email", "E-mail"
    WEBHOOK = "webhook", "Webhook"
    CALENDAR = "calendar", "Calendar feed"


class ReminderState(models.TextChoices):
    WAITING = "waiting", "Not due yet"
    TOLD = "told", "Told"
    CONFIRMED = "confirmed", "Confirmed"
    OVER = "over", "Over"
    CANCELLED = "cancelled", "Cancelled before it was due"


class Reminder(models.Model):
    """Something people are to be told at a time that may still move."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    subject = models.CharField(max_length=60, help_text="What it is about: pour:7.")
    title = models.CharField(max_length=160)
    words = models.CharField(max_length=400, blank=True)
    path = models.CharField(max_length=200, blank=True, help_text="Page to go to.")
    due_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=ReminderState.choices, default="waiting")
    version = models.PositiveIntegerField(default=1, editable=False)
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    told_at = models.DateTimeField(null=True)
    escalate_at = models.DateTimeField(null=True)
    escalated_at = models.DateTimeField(null=True)
    confirmed_at = models.DateTimeField(null=True)
    confirmed_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["due_at", "id"]
        indexes: ClassVar = [
            models.Index(fields=["state", "due_at"], name="reminder_due"),
            models.Index(fields=["site", "state", "due_at"], name="reminder_by_site"),
        ]

    def __str__(self) -> str:
        return self.title


class DeliveryState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    CLAIMED = "claimed", "Being prepared"
    SENDING = "sending", "Being handed over"
    SENT = "sent", "Sent"
    FAILED = "failed", "Could not be sent"
    DROPPED = "dropped", "No longer needed"


class Delivery(models.Model):
    """
    One message to one person on one channel.

    A worker holds it until `lease_until`. When a lease runs out in state 'sending' nobody knows
    whether the message left: it is sent again under the same key and `doubtful` says so.
    """

    key = models.CharField(max_length=200, unique=True)
    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    user = models.ForeignKey("shared.User", models.CASCADE, related_name="+")
    channel = models.CharField(max_length=10, choices=Channel.choices)
    due_at = models.DateTimeField(help_text="When it should leave, quiet hours counted in.")
    try_at = models.DateTimeField(help_text="When it is next tried.")
    state = models.CharField(max_length=8, choices=DeliveryState.choices, default="waiting")
    claimed_by = models.CharField(max_length=80, blank=True)
    lease_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    doubtful = models.BooleanField(default=False, help_text="An earlier copy may have arrived.")
    error = models.CharField(max_length=300, blank=True)
    sent_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True, help_text="Read away on the Today page.")

    class Meta:
        ordering = ["due_at", "id"]
        verbose_name_plural = "deliveries"
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(state__in=["claimed", "sending"])
                | Q(lease_until__isnull=False) & ~Q(claimed_by=""),
                name="delivery_claim_names_worker_and_lease",
            ),
            models.CheckConstraint(
                condition=~Q(state="sent") | Q(sent_at__isnull=False), name="delivery_sent_when"
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["state", "try_at"], name="delivery_to_send"),
            models.Index(fields=["user", "channel", "state"], name="delivery_by_user"),
        ]

    def __str__(self) -> str:
        return self.key


class DeliveryItem(models.Model):
    """A reminder in a message; several share one when they are told late together."""

    delivery = models.ForeignKey(Delivery, models.CASCADE, related_name="items")
    reminder = models.ForeignKey(Reminder, models.CASCADE, related_name="items")
    version = models.PositiveIntegerField(help_text="Of the reminder this was made for.")
    user = models.ForeignKey("shared.User", models.CASCADE, related_name="+")
    channel = models.CharField(max_length=10, choices=Channel.choices)
    escalated = models.BooleanField(default=False)

    class Meta:
        ordering = ["delivery", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["reminder", "version", "user", "channel", "escalated"],
                name="deliveryitem_told_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reminder} in {self.delivery}"


class ChannelChoice(models.Model):
    """On which channels a person wants one kind of reminder; without a row the usual ones."""

    user = models.ForeignKey("shared.User", models.CASCADE, related_name="+")
    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    channels = models.JSONField(default=list)

    class Meta:
        ordering = ["user", "site", "kind"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["user", "site", "kind"], name="channelchoice_once"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_kind_display()}"


class ReminderSettings(models.Model):
    """How one person may be reached, and when not."""

    user = models.OneToOneField("shared.User", models.CASCADE, related_name="reminder_settings")
    quiet_from = models.TimeField(null=True, blank=True)
    quiet_until = models.TimeField(null=True, blank=True)
    webhook_url = models.CharField(max_length=300, blank=True)
    webhook_secret = SealedField(blank=True, editable=False)
    webhook_off = models.CharField(max_length=200, blank=True, help_text="Why it is off.")
    feed_digest = models.CharField(max_length=64, blank=True, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="remindersettings_quiet_both_or_neither",
                violation_error_message="Give quiet_from and quiet_until, or neither.",
            ),
            models.UniqueConstraint(
                fields=["feed_digest"],
                condition=~Q(feed_digest=""),
                name="remindersettings_one_feed_per_token",
            ),
        ]

    def __str__(self) -> str:
        return f"Reminders of {self.user}"


class Heartbeat(models.Model):
    """When a sweeper last went through, and how far the clocks of machines were apart."""

    name = models.CharField(max_length=40, unique=True)
    at = models.DateTimeField()
    worker = models.CharField(max_length=80)
    clock_apart_s = models.FloatField(default=0, help_text="Worker less database.")

    def __str__(self) -> str:
        return f"{self.name} at {self.at:%Y-%m-%d %H:%M:%S}"
