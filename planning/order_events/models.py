"""What others must hear of an order: rows written with the change, only ever added."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

PAYLOAD_VERSION = 1
"""Of the form of `payload`; a member is added without a new number, none is taken away."""


class EventKind(models.TextChoices):
    TAKEN = "order_taken", "Taken in"
    CHANGED = "order_changed", "Changed"
    QUANTITY = "quantity_changed", "Quantity changed"
    HELD = "order_held", "Put on hold"
    RELEASED = "order_released", "Released from hold"
    CANCELLED = "order_cancelled", "Cancelled"
    PLANNED = "pour_planned", "Planned"
    MOVED = "date_moved", "Date moved"
    TAKEN_OUT = "pour_taken_out", "Taken out of the plan"
    LATE = "late_foreseen", "Foreseen to be late"


class OrderEvent(models.Model):
    """
    One thing that happened to an order, numbered per order without gaps.

    `payload` is the whole event as others read it: version, kind, site, order, number, pour and
    half where it is about one, sequence, at, reason, and what was and is (`old`, `new`).
    """

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    order = models.ForeignKey("planning.ToolOrder", models.PROTECT, related_name="events")
    pour = models.ForeignKey(
        "planning.Pour", models.PROTECT, null=True, blank=True, related_name="events"
    )
    sequence = models.PositiveIntegerField()
    kind = models.CharField(max_length=20, choices=EventKind.choices)
    reason = models.CharField(max_length=200, blank=True)
    payload = models.JSONField(default=dict)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["order", "sequence"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["order", "sequence"], name="orderevent_sequence_once"),
            models.CheckConstraint(
                condition=models.Q(sequence__gte=1), name="orderevent_sequence_from_1"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "id"], name="orderevent_by_site")]

    def __str__(self) -> str:
        return f"{self.order} {self.sequence}: {self.get_kind_display()}"
