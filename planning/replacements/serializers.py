"""The JSON form of proposed replacements and of what was decided."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from planning.replacements.models import ReplacementDecision
from planning.replacements.queries import Proposal
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class DecisionSerializer(StrictModelSerializer):
    by = serializers.SerializerMethodField()

    class Meta:
        model = ReplacementDecision
        fields: ClassVar = [
            "id", "tool", "accepted", "reason", "order", "order_by", "last_day", "basis",
            "decided_at", "by",
        ]  # fmt: skip
        read_only_fields = fields

    def get_by(self, row: ReplacementDecision) -> str:
        """Return the name of who decided."""
        return str(row.by) if row.by else ""


class NewDecisionSerializer(StrictSerializer):
    """Accept a proposed replacement, which orders it, or decline it with a reason."""

    tool = fields.RelatedIdField(model="shop.Tool")
    accepted = fields.YesNoField()
    reason = fields.TextField(max_length=400, required=False)


class ReplacementSerializer(serializers.Serializer[Proposal]):
    """A replacement that should be ordered by a day."""

    tool = serializers.CharField(source="need.tool_id")
    code = serializers.CharField(source="need.code")
    name = serializers.CharField(source="need.name")
    shots = serializers.IntegerField(source="need.shots")
    shots_kept = serializers.IntegerField(
        source="need.shots_kept", help_text="Further shots done with a chance of 90 %."
    )
    last_day = serializers.DateField(source="need.last_day")
    order_by = serializers.DateField(source="need.order_by")
    lead = serializers.CharField(source="need.lead_words")
    basis = serializers.CharField(source="need.basis")
    copies_order = serializers.SerializerMethodField(
        help_text="Id of the order whose pours would be cast once more."
    )
    mass_kg = serializers.CharField()
    material_cost = serializers.DictField(
        source="cost", child=serializers.CharField(),
        help_text="What these castings cost last time, by currency; empty where not known.",
    )  # fmt: skip

    def get_copies_order(self, row: Proposal) -> str | None:
        """Return the order's id."""
        return str(row.order.pk) if row.order else None


def shown(rows: list[Proposal]) -> list[Any]:
    """Return proposals as plain data."""
    return list(ReplacementSerializer(rows, many=True).data)
