"""Hazardous waste that the ledger of stock does not know: residues, wipes, empty cans."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class WasteKind(models.TextChoices):
    RESIDUE = "residue", "Residue of a mix"
    WIPES = "wipes", "Wipes, gloves, brushes"
    EMPTIES = "empties", "Empty cans with remains"
    SOLVENT = "solvent", "Used solvent or cleaner"
    OTHER = "other", "Other"


class WasteEntry(models.Model):
    """
    Something that went into hazardous waste; only added, and withdrawn by a row that names it.

    What is scrapped out of a can stands in the ledger and not here, so that nothing counts twice.
    """

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=8, choices=WasteKind.choices)
    mass_kg = models.DecimalField(max_digits=9, decimal_places=4)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    lot = models.ForeignKey(
        "shop.Lot", models.PROTECT, null=True, blank=True, related_name="waste"
    )
    counterpart = models.CharField(
        max_length=60, blank=True, help_text="What it is left over from: batch:7, pour:7, tool:7."
    )
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(mass_kg__gt=0),
                name="wasteentry_mass_positive",
                violation_error_message="mass_kg must be above 0 kg.",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["site", "at"], name="waste_by_site"),
            models.Index(fields=["counterpart"], name="waste_by_counterpart"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.mass_kg} kg"


class WasteWithdrawal(models.Model):
    """Takes back an entry that was wrong; the entry stays to be seen."""

    entry = models.OneToOneField(WasteEntry, models.PROTECT, related_name="withdrawal")
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    words = models.CharField(max_length=200)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.entry}, withdrawn"
