"""Temperatures seen, and the clock of each poured lift."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.db.models import F, Q


class Waits(models.TextChoices):
    """Why nobody knows when a casting may be taken off."""

    COOL_READING = "cool_reading", "A reading that shows it is cool"
    OUT_OF_OVEN = "out_of_oven", "It is in the oven"
    STALLED = "stalled", "Too cold to cure through"
    NOT_KNOWN = "not_known", "Not known"


SEEN = "seen by"
"""How `peak_basis` begins where a person said so."""


class Cure(models.Model):
    """
    The clock of one lift, as it was worked out at `looked_at`.

    Of each time there is the best estimate and the careful one, on which alone anything opens,
    and only once it was worked out again at or after that time. What may have moved it since
    empties `looked_at` and raises `changes`, so that an answer to an older question is not kept.
    """

    lift = models.OneToOneField("planning.Lift", models.PROTECT, related_name="cure")
    poured_at = models.DateTimeField(help_text="End of pouring the lift.")
    peak_due_at = models.DateTimeField(null=True, help_text="Past its hottest for sure.")
    peak_best_at = models.DateTimeField(null=True, help_text="Hottest about then.")
    attend_until = models.DateTimeField(null=True, help_text="Somebody stays until then.")
    next_opens_at = models.DateTimeField(
        null=True, help_text="Gelled and cool enough to bear the next lift; careful."
    )
    opens_best_at = models.DateTimeField(null=True)
    next_closes_at = models.DateTimeField(null=True, help_text="Bonding until then; careful.")
    closes_best_at = models.DateTimeField(null=True)
    demould_due_at = models.DateTimeField(
        null=True, help_text="Cured and cool; careful. Empty: see waits_for."
    )
    demould_best_at = models.DateTimeField(null=True)
    cured_due_at = models.DateTimeField(
        null=True, help_text="Cured, cool or not; careful. It makes sense to measure from then on."
    )
    cured_best_at = models.DateTimeField(null=True)
    waits_for = models.CharField(
        max_length=12, blank=True, choices=Waits.choices, help_text="Why demoulding has no time."
    )
    asks = models.JSONField(default=list, help_text="Readings and events that would help.")
    ranged = models.BooleanField(default=False, help_text="Little is known: show the ranges.")
    ranges = models.JSONField(default=dict, help_text="Of each time, hours from pouring.")
    holes = models.JSONField(
        default=list, help_text="Where nobody read the air: from_h, to_h, counted_c."
    )
    left_out = models.PositiveIntegerField(
        default=0, help_text="Readings that no room, oven or casting can have had."
    )
    edges = models.JSONField(
        default=dict,
        help_text="share: so many times as long as the middle the edges take, counted in the "
        "times; width_known. Empty: the data sheet's times hold for the whole casting.",
    )
    basis = models.CharField(max_length=300, help_text="What the times rest on.")
    peak_c = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    peak_passed_at = models.DateTimeField(null=True)
    peak_basis = models.CharField(max_length=80, blank=True, help_text="How that is known.")
    looked_at = models.DateTimeField(
        null=True, help_text="The moment it was worked out for. Empty: to be worked out again."
    )
    changes = models.PositiveIntegerField(default=0, editable=False)
    done_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["demould_due_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(waits_for="") | Q(demould_due_at__isnull=True),
                name="cure_waits_without_a_time",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["done_at", "demould_due_at"], name="cure_due")]

    def __str__(self) -> str:
        return f"Cure of {self.lift}"

    def passed(self, due: datetime | None, now: datetime) -> bool:
        """Whether one of its careful times has come, and it was worked out again since."""
        return (
            due is not None and due <= now and self.looked_at is not None and self.looked_at >= due
        )

    @property
    def seen_to_pass(self) -> bool:
        """Whether a person saw its peak pass."""
        return self.peak_passed_at is not None and self.peak_basis.startswith(SEEN)

    @property
    def expected_at(self) -> datetime | None:
        """When it will be time to look at it: careful where that is known; for lists and plans."""
        known = (self.demould_due_at, self.cured_due_at, self.demould_best_at, self.cured_best_at)
        return next((at for at in known if at is not None), None)


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


class OvenStay(models.Model):
    """From going into an oven to coming out; `out_at` is empty while it is in."""

    pour = models.ForeignKey("planning.Pour", models.PROTECT, related_name="oven_stays")
    set_c = models.DecimalField("oven set to, °C", max_digits=4, decimal_places=1)
    in_at = models.DateTimeField()
    out_at = models.DateTimeField(null=True, editable=False)
    key = models.CharField(max_length=120, unique=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    out_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    wrong_reason = models.CharField(
        max_length=200,
        blank=True,
        editable=False,
        help_text="Why it was not so and does not count.",
    )
    wrong_at = models.DateTimeField(null=True, editable=False)
    wrong_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["in_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(set_c__gte=25, set_c__lte=150),
                name="ovenstay_set_c_25_to_150",
                violation_error_message="set_c must be 25 to 150 °C.",
            ),
            models.CheckConstraint(
                condition=Q(out_at__isnull=True) | Q(out_at__gte=F("in_at")),
                name="ovenstay_out_after_in",
                violation_error_message="out_at must not be before in_at.",
            ),
            models.UniqueConstraint(
                fields=["pour"],
                condition=Q(out_at__isnull=True, wrong_at__isnull=True),
                name="ovenstay_one_open",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pour} in the oven at {self.set_c} °C"
