"""Patterns that were handed in as a mesh, how they are to be cast, and what was found out."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q


class PatternState(models.TextChoices):
    WAITING = "waiting", "Waiting to be read"
    READING = "reading", "Being read"
    READY = "ready", "Examined"
    REFUSED = "refused", "Refused"


class PatternUnit(models.TextChoices):
    MM = "mm", "Millimetres"
    CM = "cm", "Centimetres"
    M = "m", "Metres"
    INCH = "inch", "Inches"


class Pull(models.TextChoices):
    """The direction the casting leaves the pattern in, by the axes of the file."""

    UP_Z = "+z", "+z, up in most drawings"
    DOWN_Z = "-z", "-z"
    UP_X = "+x", "+x"
    DOWN_X = "-x", "-x"
    UP_Y = "+y", "+y"
    DOWN_Y = "-y", "-y"


def _length(label: str, default: int) -> models.DecimalField:
    return models.DecimalField(
        label,
        max_digits=7,
        decimal_places=2,
        default=default,
        validators=[MinValueValidator(0), MaxValueValidator(10_000)],
    )


class PatternMesh(models.Model):
    """A file with a mesh of the pattern. The file's name on disk is always our own."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    name = models.CharField(max_length=120)
    file_name = models.CharField(max_length=120, editable=False)
    stored = models.CharField(max_length=60, unique=True, editable=False)
    size_bytes = models.PositiveIntegerField(editable=False)
    sha256 = models.CharField(max_length=64, editable=False)

    unit = models.CharField(
        max_length=4,
        choices=PatternUnit.choices,
        help_text="Unit it was drawn in; a mesh file seldom says.",
    )
    pull = models.CharField(max_length=2, choices=Pull.choices, default="+z")
    parting_mm = _length("height of the parting plane, mm", 0)
    margin_mm = _length("room round the pattern, mm", 25)
    cover_mm = _length("casting over the highest point, mm", 20)
    wall_draft_deg = models.DecimalField(
        "lean of the box walls outwards, degrees",
        max_digits=4,
        decimal_places=1,
        default=0,
        validators=[MinValueValidator(-45), MaxValueValidator(45)],
    )
    band_low_deg = models.DecimalField(
        "least draft wanted, degrees", max_digits=4, decimal_places=1, default=3
    )
    band_high_deg = models.DecimalField(
        "most draft wanted, degrees", max_digits=4, decimal_places=1, default=5
    )
    thickest_lift_mm = _length("thickest lift to list, mm", 50)
    repair = models.BooleanField("repair what can be repaired", default=False)

    state = models.CharField(max_length=10, choices=PatternState.choices, default="waiting")
    refused_code = models.CharField(max_length=40, blank=True, editable=False)
    refused_because = models.CharField(max_length=400, blank=True, editable=False)
    report = models.JSONField(null=True, editable=False)
    took_s = models.FloatField(null=True, editable=False)
    peak_mb = models.FloatField(null=True, editable=False)

    handed_in_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    handed_in_at = models.DateTimeField()
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, editable=False)
    read_at = models.DateTimeField(null=True, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-id"]
        verbose_name = "pattern"
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(band_low_deg__gt=0, band_high_deg__gt=F("band_low_deg")),
                name="pattern_band_runs_upwards",
                violation_error_message="band_low_deg must be above 0 and below band_high_deg.",
            ),
            models.CheckConstraint(
                condition=Q(parting_mm__gte=0, margin_mm__gte=0, cover_mm__gte=0),
                name="pattern_lengths_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(thickest_lift_mm__gt=0),
                name="pattern_thickest_lift_positive",
                violation_error_message="thickest_lift_mm must be above 0.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["state", "asked_at"], name="pattern_waiting")]

    def __str__(self) -> str:
        return self.name

    @property
    def path(self) -> Path:
        """Where the file lies."""
        return folder() / self.stored

    def picture(self, view: str) -> Path:
        """Where the picture from `above` or `below` lies once the pattern has been examined."""
        return folder() / f"{self.stored}-{view}.png"

    @property
    def solid(self) -> Path:
        """Where the thinned pattern for the viewer lies once it has been examined."""
        return folder() / f"{self.stored}-solid.bin"


def folder() -> Path:
    """Return the folder patterns and their pictures lie in."""
    return Path(settings.MEDIA_ROOT) / "patterns"
