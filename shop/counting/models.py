"""Cycle counts: a shelf counted blind, a second look where it differs, booked on approval."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.db.models import Q

from shop.lots.models import QUANTITY


class CountStatus(models.TextChoices):
    OPEN = "open", "Being counted"
    APPROVED = "approved", "Approved"
    CANCELLED = "cancelled", "Cancelled"


class CycleCount(models.Model):
    """One count of all that stands on one shelf."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    location = models.ForeignKey("shop.Location", models.PROTECT, related_name="counts")
    status = models.CharField(max_length=12, choices=CountStatus.choices, default=CountStatus.OPEN)
    tolerance_percent = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        default=Decimal(1),
        help_text="A first count that differs by more, in percent of the records, is counted "
        "again by somebody else.",
    )
    started_at = models.DateTimeField()
    started_by = models.ForeignKey("shared.User", models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(null=True, blank=True)
    approved_by = models.ForeignKey(
        "shared.User", models.PROTECT, null=True, blank=True, related_name="+"
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-started_at", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["location"], condition=Q(status="open"), name="cyclecount_one_open"
            ),
            models.CheckConstraint(
                condition=Q(tolerance_percent__gte=0, tolerance_percent__lte=100),
                name="cyclecount_tolerance_0_to_100",
                violation_error_message="tolerance_percent must be 0 to 100 %.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.location}, {self.started_at:%Y-%m-%d}"


class CountLine(models.Model):
    """
    One container of a count.

    `expected` is what the ledger held when the latest figure was written down; nobody is shown
    it before the count is complete.
    """

    count = models.ForeignKey(CycleCount, models.CASCADE, related_name="lines")
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    expected = models.DecimalField(**QUANTITY, null=True, blank=True)
    first = models.DecimalField(**QUANTITY, null=True, blank=True)
    first_by = models.ForeignKey(
        "shared.User", models.PROTECT, null=True, blank=True, related_name="+"
    )
    first_at = models.DateTimeField(null=True, blank=True)
    second_wanted = models.BooleanField(default=False)
    second = models.DecimalField(**QUANTITY, null=True, blank=True)
    second_by = models.ForeignKey(
        "shared.User", models.PROTECT, null=True, blank=True, related_name="+"
    )
    second_at = models.DateTimeField(null=True, blank=True)
    found_here = models.BooleanField(
        default=False, help_text="Stood on this shelf though the records have it elsewhere."
    )

    class Meta:
        ordering = ["count", "container__code"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["count", "container"], name="countline_once"),
            models.CheckConstraint(
                condition=(Q(first__isnull=True) | Q(first__gte=0))
                & (Q(second__isnull=True) | Q(second__gte=0)),
                name="countline_not_below_0",
                violation_error_message="What was counted must be 0 or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container} in count {self.count_id}"
