"""Quantities at the border: a value with a unit, turned into the unit a material is counted in."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictSerializer
from shared.errors import Invalid
from shared.units import convert
from shop.materials.models import Material

NAMES = {
    "kg": "kg",
    "g": "g",
    "L": "l",
    "mL": "ml",
    "m": "m",
    "mm": "mm",
    "m2": "m2",
    "cm2": "cm2",
    "pc": "pc",
    "{piece}": "pc",
}
"""Units that are read, as people and UCUM write them, to the names `shared.units` knows."""

SAME_KIND = {"kg": ("kg", "g"), "L": ("L", "mL"), "m": ("m", "mm"), "m2": ("m2", "cm2")}


@dataclass(frozen=True)
class Quantity:
    """A value with the unit it was given in."""

    value: Decimal
    unit: str

    def of(self, material: Material, pointer: str = "quantity") -> Decimal:
        """Return it in the unit the material is counted in; refuse a unit of another kind."""
        allowed = SAME_KIND.get(material.unit, ("pc", "{piece}"))
        if self.unit not in allowed:
            words = (
                f"{pointer} is in {self.unit}; {material.name} is counted in {material.unit}, "
                f"give {' or '.join(allowed)}."
            )
            raise Invalid.one(pointer, "wrong_unit", words, value=self.unit, limit=material.unit)
        if NAMES[self.unit] == NAMES[material.unit]:
            return self.value
        return convert(self.value, NAMES[self.unit], NAMES[material.unit])


AMOUNT = {"$ref": "#/components/schemas/Amount"}
"""A quantity in the description of the API, where no serializer writes it."""


class AmountSerializer(StrictSerializer):
    """A value with its unit."""

    value = fields.DecimalField(max_digits=14, decimal_places=4)
    unit = fields.ChoiceField(choices=list(NAMES))


@extend_schema_field(AmountSerializer)
class QuantityField(serializers.Field):
    """`{"value": "12.5000", "unit": "kg"}`."""

    def to_internal_value(self, data: Any) -> Quantity:
        """Return value and unit; both are checked on their own."""
        form = AmountSerializer(data=data)
        form.is_valid(raise_exception=True)
        return Quantity(form.validated_data["value"], form.validated_data["unit"])

    def to_representation(self, value: Any) -> Any:
        """Return a quantity that was given as (value, unit)."""
        number, unit = value
        return {"value": f"{number:.4f}", "unit": unit}
