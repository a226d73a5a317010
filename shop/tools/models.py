"""The register of tools: halves, what happened to them, shots run."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q

from shop.release_agents.models import Surface
from shop.sites.models import SiteThing

ABOVE_ZERO = MinValueValidator(Decimal("0.1"))


class ToolKind(models.TextChoices):
    MATCHED = "matched", "Matched set (A and B halves)"
    SINGLE = "single", "Single-sided"


class ToolStatus(models.TextChoices):
    ASKED = "asked", "Asked for"
    CASTING = "casting", "Being cast"
    IN_SERVICE = "in_service", "In service"
    REPAIR = "repair", "Under repair"
    RETIRED = "retired", "Retired"


class ToolFamily(SiteThing):
    """Tools that wear alike: one resin, one kind of surface, one press; their lives are pooled."""

    stated_shots = models.PositiveIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
        help_text="Shots that half the tools of this family are said to reach.",
    )
    source = models.CharField(
        max_length=200, blank=True, help_text="Who states that life: maker, customer, experience."
    )

    class Meta(SiteThing.Meta):
        verbose_name_plural = "tool families"


class Tool(SiteThing):
    """The mould being made, and later used."""

    family = models.ForeignKey(
        ToolFamily, models.PROTECT, null=True, blank=True, related_name="tools"
    )

    kind = models.CharField(max_length=8, choices=ToolKind.choices)
    status = models.CharField(max_length=12, choices=ToolStatus.choices, default=ToolStatus.ASKED)
    customer = models.CharField(max_length=120, blank=True)
    service_c = models.DecimalField(
        "service temperature wanted, °C", max_digits=5, decimal_places=1, null=True, blank=True
    )
    expected_shots = models.PositiveIntegerField(null=True, blank=True)
    promised_shots = models.PositiveIntegerField(default=0)
    surface = models.CharField(
        max_length=8, choices=Surface.choices, default=Surface.EPOXY,
        help_text="What release agent goes onto.",
    )  # fmt: skip
    release_recipe = models.ForeignKey(
        "shop.ReleaseRecipe", models.PROTECT, null=True, blank=True, related_name="+"
    )
    shots_per_coat = models.PositiveIntegerField(
        null=True, blank=True,
        help_text="Shots between two re-coats with release agent; the recipe's, if fewer, hold.",
    )  # fmt: skip
    face_m2 = models.DecimalField(
        "area of the face, m²", max_digits=8, decimal_places=4, null=True, blank=True,
        validators=[MinValueValidator(Decimal("0.0001"))],
        help_text="What release agent goes onto; used to foresee how much re-coats take.",
    )  # fmt: skip
    shots_per_inspection = models.PositiveIntegerField(null=True, blank=True)
    days_per_inspection = models.PositiveIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)],
        help_text="Days between two inspections, used or not; of shots and days the first holds.",
    )  # fmt: skip
    clamp_limit_kn = models.DecimalField(
        "most clamp load, kN",
        max_digits=8,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[ABOVE_ZERO],
    )
    location = models.ForeignKey(
        "shop.Location", models.PROTECT, null=True, blank=True, related_name="+"
    )
    replaces = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")

    class Meta(SiteThing.Meta):
        pass

    def clean(self) -> None:
        """Refuse a family, a place or a predecessor of another site."""
        for name in ("family", "location", "replaces"):
            row = getattr(self, name)
            if row is not None and row.site_id != self.site_id:
                raise ValidationError({name: f"{name} {row} belongs to another site."})
        recipe = self.release_recipe
        if recipe is not None and recipe.surface not in ("", self.surface):
            words = (
                f"{recipe} is for {recipe.get_surface_display().lower()}; the face of this tool "
                f"is {self.get_surface_display().lower()}. Choose another recipe."
            )
            raise ValidationError({"release_recipe": words})


class ToolHalf(models.Model):
    """One casting of a tool."""

    tool = models.ForeignKey(Tool, models.CASCADE, related_name="halves")
    half = models.CharField(max_length=1, choices=[("A", "A"), ("B", "B")], default="A")
    casting = models.CharField(
        max_length=80, blank=True, help_text="The casting it came from: pour:7."
    )
    demoulded_at = models.DateTimeField(null=True, blank=True)
    service_c = models.DecimalField(
        "service temperature reached, °C", max_digits=5, decimal_places=1, null=True, blank=True
    )
    verdict = models.CharField(
        max_length=8,
        blank=True,
        choices=[("accept", "Accept"), ("rework", "Rework"), ("reject", "Reject")],
    )

    class Meta:
        ordering = ["tool", "half"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["tool", "half"], name="toolhalf_once"),
            models.UniqueConstraint(
                fields=["casting"], condition=~Q(casting=""), name="toolhalf_one_per_casting"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool} {self.half}"


class ToolEventKind(models.TextChoices):
    CAST = "cast", "Half cast and demoulded"
    SHOTS = "shots", "Shots run"
    CORRECTION = "correction", "Correction of shots"
    SEAL = "seal", "Face sealed"
    COAT = "coat", "Release coats"
    STRIP = "strip", "Release coats taken off"
    STUCK = "stuck", "Part stuck"
    INSPECTION = "inspection", "Inspection"
    REPAIR = "repair", "Repair"
    BACK = "back", "Back in use"
    RETIREMENT = "retirement", "Retirement"
    NOTE = "note", "Note"
    WITHDRAWAL = "withdrawal", "Entry withdrawn"


ON_FACE = (ToolEventKind.SEAL, ToolEventKind.COAT)
"""Kinds that bring an agent onto the face, from a can with its lot."""
RUN_KINDS = (ToolEventKind.SHOTS, ToolEventKind.CORRECTION)
"""Kinds whose shots add up to what a tool has run."""


PUT_RIGHT_OTHERWISE = {
    ToolEventKind.SHOTS: "correct its shots, to 0 if there was no such run",
    ToolEventKind.CORRECTION: "correct the run once more",
    ToolEventKind.CAST: "a demoulding stands; enter an inspection or a retirement",
    ToolEventKind.WITHDRAWAL: "enter what really happened as a new entry",
}
"""Kinds that are not withdrawn, and what to do instead."""
LATE = timedelta(hours=1)
"""An entry written down so long after the time it gives is marked; chosen here."""


class ToolEventQuerySet(models.QuerySet["ToolEvent"]):
    def standing(self) -> ToolEventQuerySet:
        """Leave out what was withdrawn, and the withdrawals themselves."""
        gone = ToolEvent.objects.filter(corrects=OuterRef("pk"), kind=ToolEventKind.WITHDRAWAL)
        return self.exclude(kind=ToolEventKind.WITHDRAWAL).exclude(Exists(gone))


class ToolEvent(models.Model):
    """
    Something that happened to a tool; added, never edited.

    A correction holds the shots that a run was mistaken by, below 0 where too many were entered,
    and stands at the time of that run, so that every sum of shots is right without asking. A
    withdrawal takes back any other entry that was wrong; `standing` leaves both out.
    """

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="events")
    kind = models.CharField(max_length=12, choices=ToolEventKind.choices)
    key = models.CharField(max_length=120, unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    recorded_at = models.DateTimeField(null=True, editable=False)
    shots = models.IntegerField(default=0)
    corrects = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    temperature_c = models.DecimalField(
        "hottest of the run, °C", max_digits=5, decimal_places=1, null=True, blank=True
    )
    cycle_s = models.DecimalField(
        "cycle, s", max_digits=7, decimal_places=1, null=True, blank=True, validators=[ABOVE_ZERO]
    )
    clamp_kn = models.DecimalField(
        "clamp load, kN", max_digits=8, decimal_places=1, null=True, blank=True,
        validators=[ABOVE_ZERO],
    )  # fmt: skip
    agent = models.ForeignKey(
        "shop.Material", models.PROTECT, null=True, blank=True, related_name="+"
    )
    coats = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    container = models.ForeignKey(
        "shop.Container", models.PROTECT, null=True, blank=True, related_name="+"
    )
    reason = models.CharField(
        max_length=120, blank=True, help_text="Why the tool is retired; one of the list."
    )
    words = models.CharField(max_length=400, blank=True)
    facts = models.JSONField(default=dict, blank=True)

    objects = ToolEventQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kind="shots", shots__gt=0, corrects=None)
                | (Q(kind="correction", corrects__isnull=False) & ~Q(shots=0))
                | Q(kind="withdrawal", corrects__isnull=False, shots=0)
                | (~Q(kind__in=["shots", "correction", "withdrawal"]) & Q(shots=0, corrects=None)),
                name="toolevent_shots_only_when_run",
                violation_error_message="shots must be above 0 for shots run, else 0.",
            ),
            models.CheckConstraint(
                condition=Q(kind="shots") | Q(temperature_c=None, cycle_s=None, clamp_kn=None),
                name="toolevent_readings_only_of_runs",
                violation_error_message="Temperature, cycle and clamp load belong to shots run.",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["coat", "seal"]) | Q(agent=None, coats=None, container=None),
                name="toolevent_agent_only_on_face",
                violation_error_message="Agent, coats and can belong to sealing and coating.",
            ),
            models.CheckConstraint(
                condition=Q(coats=None) | Q(kind="coat", coats__gte=1),
                name="toolevent_coats_at_least_one",
                violation_error_message="coats must be 1 or more, and belong to coating.",
            ),
            models.CheckConstraint(
                condition=Q(container=None) | Q(agent__isnull=False),
                name="toolevent_can_names_its_agent",
                violation_error_message="A can is of an agent; name the agent.",
            ),
            models.UniqueConstraint(
                fields=["corrects"],
                condition=Q(kind="withdrawal"),
                name="toolevent_withdrawn_once",
            ),
            models.CheckConstraint(
                condition=Q(reason="") | Q(kind="retirement"),
                name="toolevent_reason_of_retirement",
                violation_error_message="reason belongs to retirement.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["tool", "kind"], name="toolevent_by_kind")]

    def __str__(self) -> str:
        return f"{self.tool}: {self.get_kind_display()}"

    @property
    def late(self) -> bool:
        """Tell whether it was written down long after it happened."""
        return self.recorded_at is not None and self.recorded_at - self.at > LATE

    @property
    def withdrawn(self) -> bool:
        """Tell whether a further entry took it back; reads its corrections."""
        return any(one.kind == ToolEventKind.WITHDRAWAL for one in self.corrections.all())

    @property
    def may_withdraw(self) -> bool:
        """Tell whether it can be withdrawn; runs, castings and corrections are put right else."""
        return self.kind not in PUT_RIGHT_OTHERWISE and not self.withdrawn
