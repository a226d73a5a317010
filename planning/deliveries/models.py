"""Castings sent to whoever ordered them: delivery notes, and what was taken back, only added."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q


class DeliveryKind(models.TextChoices):
    SENT = "sent", "Sent"
    RETURNED = "returned", "Taken back"


class DeliveryNote(models.Model):
    """
    What left the shop together for one address, or what of such a delivery came back.

    A note is never changed: a delivery that did not go out, or came back, is answered by a
    further note of kind returned.
    """

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    key = models.CharField(max_length=160, unique=True, editable=False)
    kind = models.CharField(max_length=8, choices=DeliveryKind.choices, default="sent")
    takes_back = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="returns",
        help_text="The note of which castings came back; null where something was sent.",
    )
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    recipient = models.CharField(max_length=120, help_text="To whom it goes.")
    address = models.CharField(max_length=400, help_text="Where it goes, in lines.")
    carrier = models.CharField(max_length=80, blank=True, help_text="Who carries it.")
    carrier_reference = models.CharField(
        max_length=80, blank=True, help_text="The carrier's number for it."
    )
    packages = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many packages; null: nobody counted them."
    )
    remarks = models.CharField(max_length=400, blank=True)
    reason = models.CharField(max_length=200, blank=True, help_text="Why it was taken back.")

    class Meta:
        ordering = ["-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kind="sent", takes_back__isnull=True, reason="")
                | (Q(kind="returned", takes_back__isnull=False) & ~Q(reason="")),
                name="deliverynote_taken_back_with_a_reason",
                violation_error_message="What is taken back names its note and a reason.",
            ),
            models.CheckConstraint(
                condition=Q(packages__isnull=True) | Q(packages__gte=1),
                name="deliverynote_packages_from_1",
                violation_error_message="packages must be 1 or more.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "recipient"], name="deliverynote_to")]

    def __str__(self) -> str:
        return self.number

    @property
    def number(self) -> str:
        """The number that stands on the paper."""
        return f"DN-{self.pk}"


class DeliveryLine(models.Model):
    """
    One casting on a note.

    `turn` counts what became of the casting: 1 sent, 2 taken back, 3 sent again. An odd turn is a
    casting that leaves, an even one that comes back, and each turn is there once: so no casting
    is away twice, whatever happens at the same time.
    """

    site_path = "note__site"

    note = models.ForeignKey(DeliveryNote, models.PROTECT, related_name="lines")
    pour = models.ForeignKey("planning.Pour", models.PROTECT, related_name="delivery_lines")
    turn = models.PositiveSmallIntegerField()
    quantity = models.SmallIntegerField(help_text="1 leaves the shop, -1 comes back.")
    takes_back = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="taken_back_by"
    )

    class Meta:
        ordering = ["note", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["pour", "turn"], name="deliveryline_turn_once"),
            models.UniqueConstraint(fields=["note", "pour"], name="deliveryline_once_on_a_note"),
            models.CheckConstraint(
                condition=Q(quantity=1, takes_back__isnull=True)
                | Q(quantity=-1, takes_back__isnull=False),
                name="deliveryline_one_out_or_one_back",
            ),
            models.CheckConstraint(
                condition=Q(turn__gte=1, quantity=F("turn") % 2 * 2 - 1),
                name="deliveryline_leaves_in_odd_turns",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.note}: {self.pour}"
