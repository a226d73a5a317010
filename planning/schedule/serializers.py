"""REST forms of plans and batches."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from planning.core.plain import FormError, from_plain
from planning.core.problem import Settings
from planning.schedule.models import WeekPlan
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class PlanSerializer(StrictModelSerializer):
    """A plan's state and figures; its whole content is at /plans/{id}/content."""

    figures = serializers.SerializerMethodField()
    unplaced = serializers.SerializerMethodField()
    late = serializers.SerializerMethodField()

    class Meta:
        model = WeekPlan
        fields = [
            "id",
            "site",
            "week",
            "revision",
            "state",
            "seconds",
            "progress",
            "figures",
            "unplaced",
            "late",
            "violations",
            "error",
            "reason",
            "asked_at",
            "started_at",
            "ready_at",
            "confirmed_at",
            "etag",
        ]
        read_only_fields = fields

    def get_figures(self, plan: WeekPlan) -> dict[str, Any] | None:
        """Return what the plan achieves, once there is one."""
        return plan.plan["figures"] if plan.plan else None

    def get_unplaced(self, plan: WeekPlan) -> list[dict[str, Any]]:
        """Return the pours left out, with the rule and the words for each."""
        return plan.plan["unplaced"] if plan.plan else []

    def get_late(self, plan: WeekPlan) -> list[dict[str, Any]]:
        """
        Return why planned pours are late and what would help.

        Looked for once the plan is there: `progress.reasons` is 'done' when all are in.
        """
        return plan.plan.get("late", []) if plan.plan else []


class PlanConfirmationSerializer(StrictSerializer):
    """Confirming a plan: the mark of the comparison that was looked at."""

    seen = fields.TextField(
        required=False,
        max_length=32,
        allow_blank=True,
        default="",
        help_text="From /plans/{id}/comparison; may stay out where no plan was confirmed before.",
    )


class NewPlanSerializer(StrictSerializer):
    """Asking for a plan of a week; `settings` holds the foreman's choices that differ."""

    site = fields.SiteField()
    week = fields.TextField(max_length=8, help_text="ISO week such as 2026-W49.")
    seconds = fields.DecimalField(
        required=False,
        default=10,
        max_digits=6,
        decimal_places=1,
        min_value=Decimal("0.5"),
        max_value=Decimal(600),
    )
    settings = serializers.DictField(required=False, default=dict)
    reason = fields.TextField(
        required=False, max_length=200, allow_blank=True, default="", help_text="Why it is asked."
    )

    def validate_settings(self, value: dict[str, Any]) -> Settings:
        """Read the settings, naming what is unknown or out of range."""
        try:
            return from_plain(Settings, {n: _plain(v) for n, v in value.items()})
        except (FormError, ValueError) as error:
            raise fields.refuse(f"cannot be used: {error}", "bad_settings") from error


def _plain(value: Any) -> Any:
    """Numbers with a point were read as exact decimals; the planner counts in floats."""
    return float(value) if type(value).__name__ == "Decimal" else value
