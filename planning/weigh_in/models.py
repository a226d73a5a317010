"""What was really weighed and what happened to a pot; entries are added, never edited."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class Weighing(models.Model):
    """Material off the scale for one row of the sheet; `key` makes a repeat harmless."""

    line = models.ForeignKey("planning.BatchLine", models.PROTECT, related_name="weighings")
    key = models.CharField(max_length=120, unique=True)
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    weighed_kg = models.DecimalField(max_digits=10, decimal_places=4)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=200, blank=True, help_text="For another lot, or more.")

    class Meta:
        ordering = ["line", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(weighed_kg__gt=0),
                name="weighing_positive",
                violation_error_message="weighed_kg must be above 0 kg.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.weighed_kg} kg"


class EntryKind(models.TextChoices):
    CONTACT = "contact", "First contact: mixing began"
    SECOND_CONTAINER = "second_container", "Into the second container"
    POUR_STARTED = "pour_started", "Pouring began"
    POURED = "poured", "Poured"
    CONDITIONS = "conditions", "Air, surface and humidity"
    SCRAPPED = "scrapped", "Pot scrapped"
    LEAK = "leak", "Barrier leaked"
    SHORT = "short", "Poured short"
    REMARK = "remark", "Remark"
    AMENDMENT = "amendment", "Amendment of an earlier entry"


class BatchEntry(models.Model):
    """A record in a batch's log."""

    batch = models.ForeignKey("planning.Batch", models.PROTECT, related_name="entries")
    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=EntryKind.choices)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    portion = models.ForeignKey(
        "planning.BatchPortion", models.PROTECT, null=True, blank=True, related_name="+"
    )
    amends = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="amendments"
    )
    facts = models.JSONField(
        default=dict, blank=True, help_text="kg, air_c, surface_c, humidity_percent, dew_point_c."
    )
    words = models.CharField(max_length=400, blank=True)
    photo = models.FileField(upload_to="batch_photos/", blank=True)

    class Meta:
        ordering = ["batch", "at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kind="amendment", amends__isnull=False)
                | (~Q(kind="amendment") & Q(amends__isnull=True)),
                name="batchentry_amendment_names_its_original",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.get_kind_display()}"
