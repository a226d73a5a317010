"""REST forms of what-if questions and their answers."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from planning.schedule.models import WeekPlan
from planning.trials.actions import KINDS
from planning.trials.models import PlanTrial
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class QuestionSerializer(StrictSerializer):
    """One question. Which fields it takes depends on its kind; the others are left out."""

    kind = fields.ChoiceField(choices=[(kind, words) for kind, words in KINDS.items()])
    person = fields.TextField(
        required=False, max_length=20, help_text="For `person`: id of the one to be doubled."
    )
    mixer = fields.TextField(
        required=False, max_length=20, help_text="For `mixer` and `mixer_kg`: id of the mixer."
    )
    kg = fields.DecimalField(
        required=False, max_digits=7, decimal_places=3,
        help_text="For `mixer_kg`: what its vessel would hold, 0.1 to 500 kg.",
    )  # fmt: skip
    kelvin = fields.DecimalField(
        required=False, max_digits=5, decimal_places=2,
        help_text="For `shop_k`: so much warmer, or with a minus colder, -10 to 10 °C.",
    )  # fmt: skip
    day = fields.DayField(required=False, help_text="For `day`: the day that would be worked.")
    like = fields.DayField(required=False, help_text="For `day`: worked as this one is.")
    minutes = fields.DecimalField(
        required=False, max_digits=8, decimal_places=1,
        help_text="For `late_per_pot`: late minutes that one pot is worth, 1 to 100000 min.",
    )  # fmt: skip

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Return the question as it is stored: plain text."""
        return {name: str(value) for name, value in super().to_internal_value(data).items()}


class TrialSerializer(StrictModelSerializer):
    """Questions and answers, the week as it is first."""

    site = serializers.CharField(source="plan.site.code", read_only=True)

    class Meta:
        model = PlanTrial
        fields = ["id", "site", "plan", "state", "questions", "answers", "error", "asked_at"]
        read_only_fields = fields


class NewTrialSerializer(StrictSerializer):
    """Asking 1 to 6 questions of a plan that is worked out."""

    plan = fields.RelatedIdField(queryset=WeekPlan.objects.all())
    questions = QuestionSerializer(many=True)
