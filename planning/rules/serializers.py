"""The REST form of planning rules."""

from __future__ import annotations

from dataclasses import asdict
from dataclasses import fields as fields_of
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from planning.core.problem import Settings
from planning.rules.actions import RULES, settings_of
from planning.rules.models import PlanningRules
from shared.api import fields
from shared.api.serializers import StrictModelSerializer

USUAL = {field.name: field.default for field in fields_of(Settings)}


@extend_schema_field(
    {
        "type": "object",
        "description": "Every rule with its value, in the planner's own JSON form.",
        "properties": {
            name: {"description": f"{rule.label}. {rule.help}"} for name, rule in RULES.items()
        },
        "additionalProperties": False,
    }
)
class SettingsField(serializers.Field):
    """All rules out; those that change in, null for the usual value."""

    def to_representation(self, value: PlanningRules) -> dict[str, Any]:
        """Return every rule's value."""
        settings = asdict(settings_of(value))
        return {name: settings[name] for name in RULES}

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Return what changes; what the names and values may be is checked where it is kept."""
        if not isinstance(data, dict):
            raise fields.refuse("must be an object of rule and value", "not_an_object")
        changed = {
            str(name): USUAL.get(str(name)) if value is None else _plain(value)
            for name, value in data.items()
        }
        return {"settings": changed}  # `source` being the whole row, this is merged into it


def _plain(value: Any) -> Any:
    """Numbers with a point were read as exact decimals; the planner counts in floats."""
    return float(value) if type(value).__name__ == "Decimal" else value


class RulesSerializer(StrictModelSerializer):
    """A site's rules; `about` explains each, with its unit, its choices and what is usual."""

    settings = SettingsField(source="*", required=False)
    freeze_hours = fields.DecimalField(
        max_digits=5, decimal_places=1, min_value=0, max_value=336, required=False
    )
    own_times = fields.YesNoField(
        required=False, help_text="Plan steps with the hands-on times the shop has recorded."
    )
    night_c = fields.DecimalField(
        max_digits=4,
        decimal_places=1,
        required=False,
        allow_null=True,
        help_text="Coldest the shop gets at night, °C; null: 8 K below the temperature expected.",
    )
    about = serializers.SerializerMethodField()

    class Meta:
        model = PlanningRules
        fields = [
            "id",
            "site",
            "freeze_hours",
            "own_times",
            "night_c",
            "settings",
            "about",
            "etag",
        ]
        read_only_fields = ["id", "site", "about", "etag"]

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_about(self, rules: PlanningRules) -> dict[str, Any]:
        """Return label, unit, help, choices and usual value of each rule."""
        return {
            name: {
                "label": rule.label,
                "unit": rule.unit,
                "help": rule.help,
                "choices": [value for value, _ in rule.choices],
                "usual": USUAL[name],
            }
            for name, rule in RULES.items()
        }
