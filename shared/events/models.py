"""
The one outbox: what others must hear of, written with the change, only ever added.

An event says nothing of its place in the feed: ids are given before a transaction commits, so a
slower writer's row would appear behind a reader. `FeedPlace` gives places afterwards, see
`shared/events/placing.py`.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models

from shared.events.kinds import EventKind, ObjectKind


class Event(models.Model):
    """
    One thing that happened to one object, numbered per object without gaps.

    `payload` is what others read as `data`: version, site, object, sequence, at, reason, what was
    and is (`old`, `new`), and names of what it is about.
    """

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    uid = models.CharField(max_length=40, unique=True, help_text="The same however often sent.")
    kind = models.CharField(max_length=40, choices=EventKind.choices)
    object_kind = models.CharField(max_length=20, choices=ObjectKind.choices)
    object_id = models.CharField(max_length=40)
    sequence = models.PositiveIntegerField()
    reference = models.CharField(
        max_length=120, blank=True, help_text="The ordering system's own name for it."
    )
    reason = models.CharField(max_length=200, blank=True)
    payload = models.JSONField(default=dict)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["object_kind", "object_id", "sequence"]
        indexes: ClassVar = [models.Index(fields=["site", "kind"], name="event_by_kind")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["object_kind", "object_id", "site", "sequence"], name="event_sequence_once"
            ),
            models.CheckConstraint(
                condition=models.Q(sequence__gte=1), name="event_sequence_from_1"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.object_kind} {self.object_id}, {self.sequence}: {self.get_kind_display()}"

    def message(self) -> dict[str, Any]:
        """Return the event as the feed lists it and as webhooks post it, one form for both."""
        return {
            "id": self.uid,
            "type": self.kind,
            "timestamp": self.payload["at"],
            "data": self.payload,
        }


class NumberedObject(models.Model):
    """The number of an object's last event; its row is locked until the next one is committed."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    object_kind = models.CharField(max_length=20, choices=ObjectKind.choices)
    object_id = models.CharField(max_length=40)
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["object_kind", "object_id", "site"], name="numberedobject_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.object_kind} {self.object_id}: {self.last}"


class UnplacedEvent(models.Model):
    """An event that has no place in the feed yet; deleted when it is given one."""

    event = models.OneToOneField(Event, models.CASCADE, primary_key=True, related_name="+")

    def __str__(self) -> str:
        return str(self.event)


class FeedPlace(models.Model):
    """Where an event stands in the feed; places are given in ascending order under one lock."""

    position = models.BigIntegerField(primary_key=True)
    event = models.OneToOneField(Event, models.PROTECT, related_name="place")
    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    placed_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["position"]
        indexes: ClassVar = [models.Index(fields=["site", "position"], name="feedplace_by_site")]

    def __str__(self) -> str:
        return f"{self.position}: {self.event}"


class FeedEnd(models.Model):
    """The last place given; its one row is the lock of who gives places."""

    position = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return str(self.position)
