"""What was decided about replacing a tool that may soon fail."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class ReplacementDecision(models.Model):
    """A proposed replacement that somebody accepted, with its order, or declined, with why."""

    tool = models.ForeignKey("shop.Tool", models.PROTECT, related_name="+")
    accepted = models.BooleanField()
    reason = models.CharField(
        max_length=400, blank=True, help_text="Why it is declined; may be empty otherwise."
    )
    order = models.ForeignKey(
        "planning.ToolOrder", models.PROTECT, null=True, blank=True, related_name="+"
    )
    order_by = models.DateField(help_text="Day by which it had to be ordered.")
    last_day = models.DateField(help_text="Day to which the tool lasts with a chance of 90 %.")
    basis = models.CharField(max_length=400, help_text="What these days rested on.")
    decided_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering: ClassVar = ["-decided_at", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(accepted=True, order__isnull=False)
                | (Q(accepted=False, order=None) & ~Q(reason="")),
                name="replacement_ordered_or_told_why_not",
                violation_error_message="Give a reason where a replacement is declined.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool}: {'accepted' if self.accepted else 'declined'}"
