"""Recalls: lots that may not be used, whatever arrives of them later."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class Recall(models.Model):
    """One notice about one lot; in force until somebody lifts it, with a reason."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="+")
    lot_code = models.CharField(max_length=40, help_text="As the notice or the label says it.")
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    lifted_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_because="")
                | Q(lifted_at__isnull=False) & ~Q(lifted_because=""),
                name="recall_lifted_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"recall of lot {self.lot_code}"


class RecalledLot(models.Model):
    """
    A lot code that a recall stops.

    The lot the notice is about is stopped at every site, from every supplier. Lots that went into
    the same castings are stopped at the site that found them.
    """

    recall = models.ForeignKey(Recall, models.CASCADE, related_name="stops")
    site = models.ForeignKey("shared.Site", models.PROTECT, null=True, related_name="+")
    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="+")
    code = models.CharField(max_length=40, help_text="In capitals: R-77 and r-77 are one lot.")

    class Meta:
        ordering = ["recall", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["recall", "material", "code"], name="recalledlot_once"
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["material", "code"], name="recalledlot_by_code"),
        ]

    def __str__(self) -> str:
        return self.code
