"""Week plans, and the lifts, batches and portions that a confirmed plan is made of."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class PlanState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    SOLVING = "solving", "Being worked out"
    READY = "ready", "Ready to confirm"
    CONFIRMED = "confirmed", "Confirmed"
    REPLACED = "replaced", "Replaced by a later plan"
    BROKEN = "broken", "Not usable"


class WeekPlan(models.Model):
    """
    A plan of all open work of a site, from now to the end of an ISO week at least.

    A site works by one plan, the confirmed one; weeks and days are views of it.
    """

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    week = models.CharField(max_length=8, help_text="ISO week, such as 2026-W49.")
    state = models.CharField(max_length=10, choices=PlanState.choices, default="waiting")
    revision = models.PositiveIntegerField(default=1, help_text="Counts plans of this week.")
    seconds = models.DecimalField(max_digits=6, decimal_places=1, default=10)
    problem = models.JSONField(null=True, editable=False)
    plan = models.JSONField(null=True, editable=False)
    violations = models.JSONField(default=list, editable=False)
    progress = models.JSONField(default=dict, editable=False)
    own_settings = models.BooleanField(
        default=True, help_text="Given with the question; otherwise the site's rules hold."
    )
    based_on = models.ForeignKey(
        "self",
        models.SET_NULL,
        null=True,
        editable=False,
        related_name="+",
        help_text="The plan the site worked by when this one was made.",
    )
    stop_asked = models.BooleanField(default=False)
    error = models.CharField(max_length=400, blank=True)
    reason = models.CharField(max_length=200, blank=True, help_text="What it was asked for.")
    asked_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    ready_at = models.DateTimeField(null=True)
    first_day = models.DateField(null=True, editable=False, help_text="First day with work.")
    last_day = models.DateField(null=True, editable=False, help_text="Last day with work.")
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
                fields=["site"],
                condition=Q(state="confirmed"),
                name="weekplan_one_confirmed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.week} revision {self.revision}"
