"""Where events are posted: endpoints, what each has still to be given, and every attempt."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.db import models

from shared.events.models import Event
from shared.sealed import SealedField


class Endpoint(models.Model):
    """An address of another system that is told of a site's events, of all kinds or of some."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    name = models.CharField(max_length=80)
    url = models.CharField(
        "address",
        max_length=500,
    )
    kinds = models.JSONField(default=list, blank=True, help_text="Kinds told; all when empty.")
    paused_at = models.DateTimeField(null=True, blank=True)
    paused_because = models.CharField(max_length=200, blank=True)
    secret = SealedField()
    old_secret = SealedField(blank=True)
    old_secret_until = models.DateTimeField(null=True, blank=True)
    read_to = models.BigIntegerField(
        default=0, help_text="Place in the feed up to which its deliveries are written."
    )
    lease_until = models.DateTimeField(null=True, blank=True)
    claimed_by = models.CharField(max_length=80, blank=True)
    made_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["site", "name"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "name"], name="endpoint_name_once"),
        ]

    def __str__(self) -> str:
        return self.name

    def secrets(self, now: datetime) -> list[str]:
        """Return the secrets that sign now: the newest, and the one before while it holds."""
        if self.old_secret and self.old_secret_until and now < self.old_secret_until:
            return [self.secret, self.old_secret]
        return [self.secret]


class HookState(models.TextChoices):
    WAITING = "waiting", "Waits"
    SENDING = "sending", "Being sent"
    DELIVERED = "delivered", "Delivered"
    DEAD = "dead", "Given up"


class HookDelivery(models.Model):
    """One event for one endpoint; those of one object go one after the other, in order."""

    endpoint = models.ForeignKey(Endpoint, models.CASCADE, related_name="deliveries")
    event = models.ForeignKey(Event, models.PROTECT, related_name="+")
    position = models.BigIntegerField(help_text="The event's place in the feed.")
    state = models.CharField(max_length=10, choices=HookState.choices, default=HookState.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    try_at = models.DateTimeField()
    error = models.CharField(max_length=300, blank=True)
    doubtful = models.BooleanField(default=False, help_text="It may have arrived before.")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["endpoint", "event"], name="hookdelivery_once"),
        ]
        indexes: ClassVar = [
            models.Index(fields=["endpoint", "state", "position"], name="hookdelivery_open"),
        ]

    def __str__(self) -> str:
        return f"{self.event} to {self.endpoint}"


class HookAttempt(models.Model):
    """One call of an endpoint and what came of it; `delivery` is empty for a test."""

    endpoint = models.ForeignKey(Endpoint, models.CASCADE, related_name="tries")
    delivery = models.ForeignKey(HookDelivery, models.CASCADE, null=True, related_name="tries")
    message_id = models.CharField(max_length=60)
    at = models.DateTimeField()
    took_ms = models.PositiveIntegerField()
    taken = models.BooleanField()
    words = models.CharField(max_length=300)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.message_id} at {self.at:%Y-%m-%d %H:%M:%S}: {self.words}"
