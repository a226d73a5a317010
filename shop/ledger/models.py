"""The append-only ledger of stock, and what is set aside for planned work."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from shop.lots.models import QUANTITY


class MovementKind(models.TextChoices):
    RECEIPT = "receipt", "Receipt"
    ISSUE = "issue", "Issue to a batch or coat"
    SAMPLE = "sample", "Sample"
    SCRAP = "scrap", "Scrap"
    RETURN = "return", "Return to supplier"
    COUNT = "count", "Count difference"
    TRANSFER = "transfer", "Transfer between containers"
    REVERSAL = "reversal", "Reversal"


USES = ("batch", "pour", "tool", "other")
"""Kinds of what material is issued to: `batch:7`, or `other:` with words. The trace knows all."""


class Movement(models.Model):
    """
    A change of what a container holds; never edited, put right by a reversal that names it.

    `quantity` is signed: above zero into the container, below zero out of it. The other side is
    `counterpart` (supplier, casting, waste, count difference, another container), so that over all
    places the sum is zero.
    """

    key = models.CharField(max_length=120, unique=True, help_text="Makes a repeat harmless.")
    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=12, choices=MovementKind.choices)
    quantity = models.DecimalField(**QUANTITY)
    counterpart = models.CharField(
        max_length=160, help_text="The other side: supplier, waste, batch:7, container:12 …"
    )
    reverses = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(quantity=0),
                name="movement_quantity_not_0",
                violation_error_message="quantity must not be 0.",
            ),
            models.CheckConstraint(
                condition=Q(kind="reversal", reverses__isnull=False)
                | (~Q(kind="reversal") & Q(reverses__isnull=True)),
                name="movement_reversal_names_its_original",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["count", "transfer", "reversal"])
                | Q(kind="receipt", quantity__gt=0)
                | Q(kind__in=["issue", "sample", "scrap", "return"], quantity__lt=0),
                name="movement_sign_fits_kind",
            ),
            models.CheckConstraint(
                condition=~Q(kind="issue")
                | Q(counterpart__startswith="batch:")
                | Q(counterpart__startswith="pour:")
                | Q(counterpart__startswith="tool:")
                | Q(counterpart__startswith="other:"),
                name="movement_issue_names_its_use",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["container", "happened_at"], name="movement_by_container"),
            models.Index(fields=["counterpart"], name="movement_by_counterpart"),
            models.Index(fields=["site", "happened_at"], name="movement_by_site"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.quantity} of {self.container_id}"


class Reservation(models.Model):
    """Stock set aside in one container for one planned use (`purpose`), until used or freed."""

    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="reservations")
    purpose = models.CharField(max_length=120, help_text="What for: batch:7:resin …")
    quantity = models.DecimalField(**QUANTITY)
    needed_at = models.DateTimeField()
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["needed_at", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["container", "purpose"], name="reservation_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0),
                name="reservation_quantity_positive",
                violation_error_message="quantity must be above 0.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["purpose"], name="reservation_by_purpose")]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.container_id} for {self.purpose}"


class UsedReservation(models.Model):
    """What an issue used up of a reservation, so that undoing the issue sets it aside again."""

    movement = models.OneToOneField(Movement, models.CASCADE, related_name="used_reservation")
    purpose = models.CharField(max_length=120)
    quantity = models.DecimalField(**QUANTITY)
    needed_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0), name="usedreservation_quantity_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} for {self.purpose}"


class Requirement(models.Model):
    """A dated need for a material, pushed by whoever plans (`source`); purchasing reads it."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    material = models.ForeignKey("shop.Material", models.CASCADE, related_name="requirements")
    source = models.CharField(max_length=80, help_text="Who asked: plan:12, pour:5 …")
    label = models.CharField(max_length=160, help_text="In words, for people.")
    quantity = models.DecimalField(**QUANTITY)
    needed_at = models.DateTimeField()
    firm = models.BooleanField(default=False, help_text="Planned and reserved, not only asked.")

    class Meta:
        ordering = ["needed_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="requirement_positive"),
        ]
        indexes: ClassVar = [
            models.Index(fields=["site", "material", "needed_at"], name="requirement_by_day"),
            models.Index(fields=["source"], name="requirement_by_source"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.material_id} for {self.label}"
