"""Routes: templates of the steps a tool goes through, which a shop may edit."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from shared.access.models import CODE


class Phase(models.TextChoices):
    BEFORE = "before", "Before the pour"
    BETWEEN = "between", "Between two lifts"
    AFTER = "after", "After the cure"


class Route(models.Model):
    """The usual way of one sort of tool."""

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    kind = models.CharField(
        max_length=8, choices=[("matched", "Matched set"), ("single", "Single-sided")]
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class StepFields(models.Model):
    """What a step of work says, as a template and as copied to a pour."""

    phase = models.CharField(max_length=8, choices=Phase.choices)
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    hands_min = models.PositiveIntegerField(help_text="Hands-on minutes.")
    wait_min = models.PositiveIntegerField(default=0, help_text="Nobody needed.")
    longest_wait_min = models.PositiveIntegerField(
        null=True, blank=True, help_text="The next step must start within this long."
    )
    skill = models.CharField(max_length=40, blank=True)
    hands = models.PositiveSmallIntegerField(default=1, help_text="People needed.")
    holds_place = models.BooleanField(default=True)
    oven_cycle = models.CharField(max_length=60, blank=True)
    checks = models.JSONField(default=list, blank=True, help_text="Rows of what, low, high, unit.")
    source = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


class StepMaterial(models.Model):
    """What a step of work uses up; the material can't be removed while a step names it."""

    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="+")
    quantity = models.DecimalField(
        max_digits=12, decimal_places=4, help_text="In the material's unit."
    )

    class Meta:
        abstract = True


class Per(models.TextChoices):
    """What a quantity of a template is meant for."""

    TOOL = "tool", "Each tool"
    SQUARE_METRE = "m2", "Each m² of release area"


class RouteStep(StepFields):
    """A step of a route for one half of the tool."""

    route = models.ForeignKey(Route, models.CASCADE, related_name="steps")
    half = models.CharField(max_length=1, choices=[("A", "A"), ("B", "B")], default="A")
    coats = models.BooleanField(
        default=False, help_text="Stands for the coats of the pour's release recipe."
    )

    class Meta:
        ordering = ["route", "half", "phase", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["route", "half", "phase", "order"], name="routestep_order_once"
            ),
            models.CheckConstraint(
                condition=Q(longest_wait_min__isnull=True)
                | Q(longest_wait_min__gte=F("wait_min")),
                name="routestep_longest_wait_not_below_wait",
                violation_error_message="longest_wait_min must not be below wait_min.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.half} {self.phase} {self.order}: {self.name}"


class RouteStepMaterial(StepMaterial):
    """What a step of a route uses up, for each tool or each square metre."""

    step = models.ForeignKey(RouteStep, models.CASCADE, related_name="materials")
    per = models.CharField(max_length=4, choices=Per.choices, default=Per.TOOL)

    class Meta:
        ordering = ["step", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["step", "material", "per"], name="routestepmaterial_once"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0),
                name="routestepmaterial_quantity_positive",
                violation_error_message="quantity must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity:f} of {self.material} per {self.per}"
