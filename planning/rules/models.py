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
    night_c = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        null=True,
        help_text="Coldest the shop gets at night: where nobody read the air, cures are timed as "
        "if it had been so cold. Empty: 8 K below the temperature expected.",
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(freeze_hours__gte=0),
                name="planningrules_freeze_not_negative",
                violation_error_message="freeze_hours must be 0 h or more.",
            ),
            models.CheckConstraint(
                condition=Q(night_c__isnull=True) | Q(night_c__gte=-20, night_c__lte=40),
                name="planningrules_night_c_sense",
                violation_error_message="night_c must be -20 to 40 °C.",
            ),
        ]

    def __str__(self) -> str:
        return f"Planning rules of {self.site}"
