"""How release agent goes on: recipes of coats with their waits, and agents that do not agree."""

from __future__ import annotations

from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from shared.access.models import CODE
from shop.materials.models import MaterialKind

AT_LEAST_ONE = [MinValueValidator(1)]


class Surface(models.TextChoices):
    """What a release agent goes onto."""

    EPOXY = "epoxy", "Cast or gel-coated epoxy"
    METAL = "metal", "Metal"
    PAINTED = "painted", "Paint or varnish"
    POROUS = "porous", "Plaster, wood or board"


class ReleaseRecipe(models.Model):
    """So many coats of one release agent on one kind of surface, with work and drying times."""

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="+")
    surface = models.CharField(
        max_length=8, choices=Surface.choices, blank=True, help_text="Empty: any surface."
    )
    sealer = models.ForeignKey(
        "shop.Material", models.PROTECT, null=True, blank=True, related_name="+",
        help_text="Goes on a bare surface before the first coat.",
    )  # fmt: skip
    sealer_dry_min = models.PositiveIntegerField(
        default=0, help_text="From the sealer to the first coat."
    )
    coats = models.PositiveSmallIntegerField(
        validators=AT_LEAST_ONE, help_text="On a bare surface: a new tool, or a stripped one."
    )
    recoat_coats = models.PositiveSmallIntegerField(
        default=1, validators=AT_LEAST_ONE, help_text="At each re-coat of a tool in use."
    )
    hands_min_per_m2 = models.DecimalField(max_digits=6, decimal_places=1)
    least_hands_min = models.PositiveSmallIntegerField(default=5)
    haze_min = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Wait until it hazes, then buff; empty: not buffed."
    )
    dry_min = models.PositiveIntegerField(help_text="After each coat but the last.")
    last_dry_min = models.PositiveIntegerField(help_text="After the last coat, before the pour.")
    longest_to_pour_min = models.PositiveIntegerField(
        null=True, blank=True, help_text="From the last coat to the pour."
    )
    shots_per_coat = models.PositiveIntegerField(
        null=True, blank=True, validators=AT_LEAST_ONE, help_text="Shots between two re-coats."
    )
    days_per_coat = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=AT_LEAST_ONE, help_text="Days between two re-coats."
    )
    strip_after = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=AT_LEAST_ONE,
        help_text="Re-coats after which built-up wax is taken off.",
    )  # fmt: skip
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
            models.CheckConstraint(
                condition=Q(recoat_coats__gte=1, recoat_coats__lte=F("coats")),
                name="releaserecipe_recoat_within_coats",
                violation_error_message="recoat_coats must be 1 to the coats on a bare surface.",
            ),
            models.CheckConstraint(
                condition=(Q(shots_per_coat=None) | Q(shots_per_coat__gte=1))
                & (Q(days_per_coat=None) | Q(days_per_coat__gte=1))
                & (Q(strip_after=None) | Q(strip_after__gte=1)),
                name="releaserecipe_limits_at_least_one",
                violation_error_message="shots_per_coat, days_per_coat and strip_after must be 1 "
                "or more, or empty.",
            ),
            models.CheckConstraint(
                condition=Q(haze_min=None) | Q(haze_min__lte=F("dry_min")),
                name="releaserecipe_haze_before_dry",
                violation_error_message="haze_min must not be longer than dry_min: a coat is "
                "buffed before the next goes on.",
            ),
            models.CheckConstraint(
                condition=~Q(sealer=F("material")),
                name="releaserecipe_sealer_is_another",
                violation_error_message="sealer must be another material than the agent itself.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse a sealer that is none, and one that the release agent does not go with."""
        if self.sealer is None or self.sealer_id is None:
            return
        if self.sealer.kind != MaterialKind.SEALER:
            kind = self.sealer.get_kind_display().lower()
            raise ValidationError({"sealer": f"{self.sealer} is a {kind}; choose a sealer."})
        if self.material_id and (words := clash_words([self.sealer_id], self.material_id)):
            raise ValidationError({"sealer": words})


class ReleaseClash(models.Model):
    """Two release agents or sealers of which one must not go onto the other, and why."""

    first = models.ForeignKey("shop.Material", models.CASCADE, related_name="+")
    second = models.ForeignKey("shop.Material", models.CASCADE, related_name="+")
    reason = models.CharField(max_length=200)
    source = models.CharField(max_length=200, help_text="Where that stands.")
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["first", "second"]
        verbose_name_plural = "release clashes"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["first", "second"], name="releaseclash_once",
                violation_error_message="These two are entered already.",
            ),
            models.CheckConstraint(
                condition=Q(first__lt=F("second")),
                name="releaseclash_first_is_lower",
                violation_error_message="first and second must be two materials.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.first} and {self.second}"

    def clean_fields(self, exclude: object = None) -> None:
        """Put the two in one order, so that each pair stands once, whichever was named first."""
        super().clean_fields(exclude)
        if self.first_id and self.second_id and self.first_id > self.second_id:
            self.first, self.second = self.second, self.first

    def clean(self) -> None:
        """Refuse what is neither a release agent nor a sealer."""
        for name in ("first", "second"):
            row = getattr(self, name)
            if row.kind not in (MaterialKind.RELEASE_AGENT, MaterialKind.SEALER):
                kind = row.get_kind_display().lower()
                words = f"{row} is a {kind}; choose a release agent or a sealer."
                raise ValidationError({name: words})


def clash_words(on_it: list[int], agent_id: int) -> str:
    """Say why an agent must not go onto what is there; empty where it may."""
    rows = ReleaseClash.objects.filter(
        Q(first=agent_id, second__in=on_it) | Q(second=agent_id, first__in=on_it)
    ).select_related("first", "second")
    for row in rows:
        new, old = (row.first, row.second) if row.first_id == agent_id else (row.second, row.first)
        return f"{new} does not go onto {old}: {row.reason.rstrip('.')} ({row.source})."
    return ""
