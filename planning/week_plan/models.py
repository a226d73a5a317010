"""Week plans, and the lifts, batches and portions that a confirmed plan is made of."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

EXACT_KG = {"max_digits": 16, "decimal_places": 8}
"""As planned, before rounding to a scale: parts must still add up to their whole."""


class PlanState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    SOLVING = "solving", "Being worked out"
    READY = "ready", "Ready to confirm"
    CONFIRMED = "confirmed", "Confirmed"
    REPLACED = "replaced", "Replaced by a later plan"
    BROKEN = "broken", "Not usable"


class WeekPlan(models.Model):
    """One plan of one ISO week at one site."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    week = models.CharField(max_length=8, help_text="ISO week, such as 2026-W49.")
    state = models.CharField(max_length=10, choices=PlanState.choices, default="waiting")
    revision = models.PositiveIntegerField(default=1, help_text="Counts plans of this week.")
    seconds = models.DecimalField(max_digits=6, decimal_places=1, default=10)
    problem = models.JSONField(null=True, editable=False)
    plan = models.JSONField(null=True, editable=False)
    violations = models.JSONField(default=list, editable=False)
    progress = models.JSONField(default=dict, editable=False)
    stop_asked = models.BooleanField(default=False)
    error = models.CharField(max_length=400, blank=True)
    reason = models.CharField(max_length=200, blank=True, help_text="What it was asked for.")
    asked_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    ready_at = models.DateTimeField(null=True)
    confirmed_at = models.DateTimeField(null=True)
    confirmed_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-week", "-revision", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["site", "week", "revision"], name="weekplan_revision_once"
            ),
            models.UniqueConstraint(
                fields=["site", "week"],
                condition=Q(state="confirmed"),
                name="weekplan_one_confirmed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.week} revision {self.revision}"


class Lift(models.Model):
    """One layer of a pour, cast as one."""

    pour = models.ForeignKey("planning.Pour", models.CASCADE, related_name="lifts")
    number = models.PositiveSmallIntegerField()
    depth_mm = models.DecimalField(max_digits=12, decimal_places=6)
    mass_kg = models.DecimalField(**EXACT_KG)
    planned_start = models.DateTimeField()
    planned_end = models.DateTimeField()
    place = models.ForeignKey("shop.Place", models.PROTECT, null=True, related_name="+")
    abrade_first = models.BooleanField(default=False)
    expected_c = models.DecimalField(
        "shop temperature the times hold at, °C", max_digits=4, decimal_places=1, default=20
    )
    attend_min = models.PositiveIntegerField(default=0, help_text="To its peak temperature.")
    gap_least_min = models.PositiveIntegerField(default=0, help_text="To the next lift.")
    gap_greatest_min = models.PositiveIntegerField(default=0, help_text="While it still bonds.")

    class Meta:
        ordering = ["pour", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["pour", "number"], name="lift_number_once"),
            models.CheckConstraint(
                condition=Q(depth_mm__gt=0, mass_kg__gt=0), name="lift_depth_and_mass_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pour} lift {self.number}"


class BatchCounter(models.Model):
    """The last batch number given at a site in a year; numbers are never given twice."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "year"], name="batchcounter_once"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}/{self.year}: {self.last}"


class BatchStatus(models.TextChoices):
    PLANNED = "planned", "Planned"
    WEIGHING = "weighing", "Being weighed"
    WEIGHED = "weighed", "Weighed"
    MIXING = "mixing", "Mixed, pot life running"
    POURED = "poured", "Poured"
    SCRAPPED = "scrapped", "Scrapped"
    CANCELLED = "cancelled", "Cancelled"


class Batch(models.Model):
    """One mix, one pot, one clock; numbered when its plan is confirmed."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    number = models.CharField(max_length=20)
    plan = models.ForeignKey(WeekPlan, models.PROTECT, null=True, related_name="batches")
    system = models.ForeignKey("shop.ResinSystem", models.PROTECT, related_name="+")
    mixer = models.ForeignKey("shop.Mixer", models.PROTECT, null=True, related_name="+")
    scale = models.ForeignKey("shop.Scale", models.PROTECT, null=True, related_name="+")
    people = models.ManyToManyField("shop.Person", related_name="+")
    status = models.CharField(max_length=10, choices=BatchStatus.choices, default="planned")
    mixed_kg = models.DecimalField(**EXACT_KG)
    planned_start = models.DateTimeField()
    planned_contact = models.DateTimeField()
    planned_pour_start = models.DateTimeField()
    planned_pour_end = models.DateTimeField()
    planned_end = models.DateTimeField()
    pot_life_min = models.PositiveIntegerField(help_text="At the temperature expected then.")
    pot_life_basis = models.CharField(max_length=200, blank=True)
    contact_at = models.DateTimeField(null=True, blank=True)
    poured_at = models.DateTimeField(null=True, blank=True)
    printed_at = models.DateTimeField(null=True, blank=True)
    pinned = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["planned_start", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "number"], name="batch_number_once"),
            models.CheckConstraint(
                condition=Q(mixed_kg__gt=0, pot_life_min__gt=0), name="batch_mass_positive"
            ),
            models.CheckConstraint(
                condition=Q(planned_contact__gte=F("planned_start"))
                & Q(planned_pour_end__gte=F("planned_pour_start"))
                & Q(planned_end__gte=F("planned_pour_end")),
                name="batch_times_in_order",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "planned_start"], name="batch_by_day")]

    def __str__(self) -> str:
        return self.number


class BatchPortion(models.Model):
    """The part of a batch that goes into one lift."""

    batch = models.ForeignKey(Batch, models.CASCADE, related_name="portions")
    lift = models.ForeignKey(Lift, models.PROTECT, related_name="portions")
    kg = models.DecimalField(**EXACT_KG)
    order = models.PositiveSmallIntegerField()
    planned_start = models.DateTimeField()
    planned_end = models.DateTimeField()
    poured_kg = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    poured_at = models.DateTimeField(null=True, blank=True)
    lost_kg = models.DecimalField(
        max_digits=10,
        decimal_places=4,
        default=0,
        help_text="Of it, what ran out or never went in: the lift ends lower by that.",
    )

    class Meta:
        ordering = ["batch", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["batch", "order"], name="batchportion_order_once"),
            models.CheckConstraint(condition=Q(kg__gt=0), name="batchportion_kg_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.batch} into {self.lift}"


class BatchLine(models.Model):
    """What to weigh into a batch from one container: the sheet's row."""

    batch = models.ForeignKey(Batch, models.CASCADE, related_name="lines")
    order = models.PositiveSmallIntegerField()
    role = models.CharField(max_length=8, choices=[("resin", "Resin"), ("hardener", "Hardener")])
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    exact_kg = models.DecimalField(**EXACT_KG)
    target_kg = models.DecimalField(
        max_digits=10, decimal_places=4, help_text="Rounded to the scale's readability."
    )
    low_kg = models.DecimalField(max_digits=10, decimal_places=4)
    high_kg = models.DecimalField(max_digits=10, decimal_places=4)

    class Meta:
        ordering = ["batch", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["batch", "order"], name="batchline_order_once"),
            models.CheckConstraint(
                condition=Q(target_kg__gt=0)
                & Q(low_kg__lte=F("target_kg"))
                & Q(high_kg__gte=F("target_kg")),
                name="batchline_target_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch} {self.role}"


class PlanningRules(models.Model):
    """What the foreman of a site has decided; what is not in `values` is the usual."""

    site = models.OneToOneField("shared.Site", models.CASCADE, related_name="+")
    values = models.JSONField(default=dict)
    freeze_hours = models.DecimalField(
        max_digits=5,
        decimal_places=1,
        default=0,
        help_text="Planned work that starts within so many hours from now stays where it is.",
    )
    own_times = models.BooleanField(
        default=True, help_text="Plan steps with the hands-on times the shop has recorded."
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(freeze_hours__gte=0),
                name="planningrules_freeze_not_negative",
                violation_error_message="freeze_hours must be 0 h or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"Planning rules of {self.site}"


class PlanTrial(models.Model):
    """Questions asked of a plan, side by side; nothing of it is ever confirmed."""

    plan = models.ForeignKey(WeekPlan, models.CASCADE, related_name="trials")
    questions = models.JSONField(help_text="Rows of kind and its values.")
    state = models.CharField(
        max_length=8,
        choices=[
            ("waiting", "Waiting"),
            ("solving", "Being worked out"),
            ("ready", "Answered"),
            ("broken", "Not answered"),
        ],
        default="waiting",
    )
    answers = models.JSONField(default=list, help_text="Rows of words and figures.")
    error = models.CharField(max_length=400, blank=True)
    asked_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"What if, {self.plan}"
