"""Questions asked of a plan, side by side."""

from __future__ import annotations

from django.db import models


class PlanTrial(models.Model):
    """Questions asked of a plan, side by side; nothing of it is ever confirmed."""

    plan = models.ForeignKey("planning.WeekPlan", models.CASCADE, related_name="trials")
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
