"""What was really weighed and what happened to a pot; entries are added, never edited."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from planning.batches.models import BatchEntry, Weighing


class WeighingAmendment(models.Model):
    """What a weighing really was, found out later; the first record stays as it is."""

    weighing = models.ForeignKey(Weighing, models.PROTECT, related_name="amendments")
    key = models.CharField(max_length=120, unique=True)
    from_kg = models.DecimalField(max_digits=10, decimal_places=4)
    to_kg = models.DecimalField(max_digits=10, decimal_places=4)
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["weighing", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(to_kg__gt=0),
                name="weighingamendment_positive",
                violation_error_message="to_kg must be above 0 kg.",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="weighingamendment_has_a_reason",
                violation_error_message="reason must not be empty.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.weighing}: really {self.to_kg} kg"


class GateRecord(models.Model):
    """
    What stood in the way of a contact or a pour, and on whose word it went on all the same.

    `late` says that it had happened when it was written down, so that nothing could be stopped.
    """

    entry = models.OneToOneField(BatchEntry, models.PROTECT, related_name="gate")
    late = models.BooleanField(default=False)
    hindrances = models.JSONField(default=list, help_text="Rows of code and words.")
    reason = models.CharField(max_length=200, blank=True)
    decided_by = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["entry"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(reason="", decided_by="") | (~Q(reason="") & ~Q(decided_by="")),
                name="gaterecord_reason_with_a_name",
                violation_error_message="gate_reason and decided_by must be given together.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.entry}: {len(self.hindrances)} in the way"


class CastingQuarantine(models.Model):
    """A casting that must not be used until somebody has judged what happened to its pot."""

    pour = models.ForeignKey("planning.Pour", models.PROTECT, related_name="quarantines")
    entry = models.ForeignKey(BatchEntry, models.PROTECT, related_name="quarantines")
    words = models.CharField(max_length=400)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        "shared.User", models.PROTECT, null=True, blank=True, related_name="+"
    )
    release_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["pour", "entry"], name="castingquarantine_once"),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True, release_reason="")
                | (Q(released_at__isnull=False) & ~Q(release_reason="")),
                name="castingquarantine_released_with_a_reason",
                violation_error_message="A release needs a reason.",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["released_at", "pour"], name="castingquarantine_open")
        ]

    def __str__(self) -> str:
        return f"{self.pour} in quarantine: {self.words}"
