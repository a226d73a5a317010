"""Temperatures seen, and the clock of each poured lift."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class Cure(models.Model):
    """The clock of one lift; moved when temperatures come in, each move raising `version`."""

    lift = models.OneToOneField("planning.Lift", models.PROTECT, related_name="cure")
    poured_at = models.DateTimeField(help_text="End of pouring the lift.")
    peak_due_at = models.DateTimeField()
    next_opens_at = models.DateTimeField(help_text="Cool enough to bear the next lift.")
    next_closes_at = models.DateTimeField(null=True, help_text="Still bonding until then.")
    demould_due_at = models.DateTimeField()
    basis = models.CharField(max_length=300, help_text="What the times rest on.")
    peak_c = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    peak_passed_at = models.DateTimeField(null=True)
    peak_basis = models.CharField(max_length=80, blank=True, help_text="How that is known.")
    done_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["demould_due_at", "id"]
        indexes: ClassVar = [models.Index(fields=["done_at", "demould_due_at"], name="cure_due")]

    def __str__(self) -> str:
        return f"Cure of {self.lift}"


class TemperatureReading(models.Model):
    """A temperature really seen: of the shop, or of one pour."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    pour = models.ForeignKey(
        "planning.Pour", models.PROTECT, null=True, blank=True, related_name="temperatures"
    )
    where = models.CharField(
        max_length=8,
        choices=[
            ("air", "Shop air"),
            ("oven", "Oven"),
            ("surface", "Surface"),
            ("core", "Core of the casting"),
        ],
        default="air",
    )
    height_mm = models.DecimalField(
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Of a core sensor above the base of its lift.",
    )
    at = models.DateTimeField()
    celsius = models.DecimalField(max_digits=5, decimal_places=1)
    fahrenheit = models.DecimalField(
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="As read, where it was given in °F.",
    )
    confirmed_at = models.DateTimeField(
        null=True, editable=False, help_text="When it was said to be really so."
    )
    key = models.CharField(max_length=120, unique=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(celsius__gte=-30, celsius__lte=300),
                name="temperaturereading_sense",
                violation_error_message="celsius must be -30 to 300 °C.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "at"], name="temperature_by_time")]

    def __str__(self) -> str:
        return f"{self.celsius} °C at {self.at:%Y-%m-%d %H:%M}"


class WrongReading(models.Model):
    """A temperature that was not so: it stays to be seen, and no longer counts."""

    reading = models.OneToOneField(TemperatureReading, models.PROTECT, related_name="wrong")
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.reading} is wrong: {self.reason}"
