"""REST forms of routes."""

from __future__ import annotations

from decimal import Decimal

from planning.routes.models import Per, Route, RouteStep
from shared.access.models import CODE
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class RouteStepMaterialSerializer(StrictSerializer):
    """A material by its code, and how much of it in the material's own unit."""

    material = fields.TextField(max_length=40, validators=[CODE], source="material.code")
    quantity = fields.DecimalField(max_digits=12, decimal_places=4, min_value=Decimal("0.0001"))
    per = fields.ChoiceField(choices=Per.choices, default=Per.TOOL)

    def to_internal_value(self, data: object) -> dict[str, object]:
        """Return the row as the action takes it, the material as its code."""
        values = super().to_internal_value(data)
        return {**values, "material": values["material"]["code"]}


class RouteStepSerializer(StrictModelSerializer):
    """One step; steps stand in the order of work for each half and phase."""

    materials = RouteStepMaterialSerializer(
        many=True, required=False, max_length=20, help_text="What the step uses up."
    )

    class Meta:
        model = RouteStep
        fields = [
            "half",
            "phase",
            "name",
            "hands_min",
            "wait_min",
            "longest_wait_min",
            "skill",
            "hands",
            "holds_place",
            "oven_cycle",
            "coats",
            "materials",
            "checks",
            "source",
        ]


class RouteSerializer(StrictModelSerializer):
    """A route with its steps; sending `steps` replaces all of them."""

    steps = RouteStepSerializer(many=True)

    class Meta:
        model = Route
        fields = ["id", "code", "name", "kind", "steps", "etag"]
