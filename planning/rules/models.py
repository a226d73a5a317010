"""What the foreman of a site has decided about planning."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


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
