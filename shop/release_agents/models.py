"""How release agent goes on: recipes of coats with their waits."""

from __future__ import annotations

from typing import ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from shared.access.models import CODE


class ReleaseRecipe(models.Model):
    """So many coats of one release agent, with hands-on and drying time for each."""

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="+")
    coats = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    hands_min_per_m2 = models.DecimalField(max_digits=6, decimal_places=1)
    least_hands_min = models.PositiveSmallIntegerField(default=5)
    dry_min = models.PositiveIntegerField(help_text="After each coat but the last.")
    last_dry_min = models.PositiveIntegerField(help_text="After the last coat, before the pour.")
    longest_to_pour_min = models.PositiveIntegerField(
        null=True, blank=True, help_text="From the last coat to the pour."
    )
    source = models.CharField(max_length=200)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(coats__gte=1, hands_min_per_m2__gte=0),
                name="releaserecipe_coats_at_least_one",
                violation_error_message="coats must be 1 or more.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
