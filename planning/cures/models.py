"""The clocks that run once a lift is poured, the temperatures seen, and the demoulding."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class Demould(models.Model):
    """The record of taking a casting off: checks, verdict, measured thickness."""

    pour = models.OneToOneField("planning.Pour", models.PROTECT, related_name="demould")
    key = models.CharField(max_length=120, unique=True)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    verdict = models.CharField(
        max_length=8, choices=[("accept", "Accept"), ("rework", "Rework"), ("reject", "Reject")]
    )
    hardness_shore_d = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    released_well = models.BooleanField(default=True)
    thickness_mm = models.DecimalField(max_digits=7, decimal_places=1, null=True, blank=True)
    defects = models.CharField(max_length=400, blank=True)
    photo = models.FileField(upload_to="demould_photos/", blank=True)
    early_reason = models.CharField(
        max_length=200, blank=True, help_text="Why before the cure time had run."
    )

    class Meta:
        ordering = ["-at"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(hardness_shore_d__isnull=True)
                | Q(hardness_shore_d__gte=0, hardness_shore_d__lte=100),
                name="demould_hardness_0_to_100",
                violation_error_message="hardness_shore_d must be 0 to 100.",
            ),
        ]

    def __str__(self) -> str:
        return f"Demoulding of {self.pour}"
