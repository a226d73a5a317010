"""The JSON form of suppliers, materials, packs, learned codes and resin systems."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from django.core.validators import RegexValidator
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shared.hazard_statements import FORM as HAZARD_FORM
from shared.units import convert
from shop.core.usual_values import USUAL, unusual
from shop.materials.components import SystemComponent
from shop.materials.models import SYSTEM_UNITS, LearnedCode, Material, Pack, ResinSystem, metric
from shop.materials.queries import kinetics_origin
from shop.materials.suppliers import Supplier, SupplierClosure
from shop.registers_api import PricesForFew, above_zero, not_below_zero, plain_numbers

POSITIVE = {"validators": [above_zero]}
NOT_NEGATIVE = {"validators": [not_below_zero]}


class SupplierSerializer(PricesForFew, StrictModelSerializer):
    price_fields = ("order_cost", "least_order")
    closed_weekdays = serializers.ListField(
        child=fields.WholeField(min_value=1, max_value=7), max_length=7, required=False
    )

    class Meta:
        model = Supplier
        fields: ClassVar = [
            "id", "code", "name", "order_email", "address", "contact", "our_account", "terms",
            "least_life_days", "lead_time_days", "lead_time_sd_days", "order_cost",
            "least_order", "currency", "closed_weekdays", "etag",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {
            "lead_time_sd_days": NOT_NEGATIVE,
            "order_cost": NOT_NEGATIVE,
            "least_order": NOT_NEGATIVE,
        }


class SupplierClosureSerializer(StrictModelSerializer):
    class Meta:
        model = SupplierClosure
        fields: ClassVar = ["id", "supplier", "first_day", "last_day", "reason"]


class MaterialSerializer(StrictModelSerializer):
    hazard_statements = serializers.ListField(
        child=fields.TextField(
            max_length=24,
            validators=[
                RegexValidator(
                    rf"^{HAZARD_FORM}$",
                    "is no hazard code; they read H317 or EUH205. Section 2 of the safety data "
                    "sheet lists them.",
                    "no_hazard_code",
                )
            ],
        ),
        max_length=40,
        required=False,
    )

    class Meta:
        model = Material
        fields: ClassVar = [
            "id", "code", "name", "kind", "unit", "density_kg_l", "shelf_life_months",
            "open_life_days", "storage_low_c", "storage_high_c", "hazard_statements",
            "signal_word", "safety_data_sheet", "check_on_receipt", "stir_before_use",
            "stir_hours", "warm_hours", "use_per_m2", "source", "etag",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {
            "density_kg_l": POSITIVE,
            "use_per_m2": POSITIVE,
            "warm_hours": NOT_NEGATIVE,
        }


class PackSerializer(PricesForFew, StrictModelSerializer):
    price_fields = ("price",)

    class Meta:
        model = Pack
        fields: ClassVar = [
            "id", "material", "supplier", "name", "content", "price", "from_packs",
            "least_packs", "lead_time_days", "gtin", "supplier_item",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {
            "content": POSITIVE,
            "price": {"required": False, **NOT_NEGATIVE},
        }


class LearnedCodeSerializer(StrictModelSerializer):
    class Meta:
        model = LearnedCode
        fields: ClassVar = ["id", "supplier", "text", "material", "content", "learned_at"]
        read_only_fields = ("learned_at",)
        extra_kwargs: ClassVar = {"content": POSITIVE}


class PostCureStepSerializer(StrictSerializer):
    ramp_k_h = fields.DecimalField(max_digits=6, decimal_places=2, validators=[above_zero])
    hold_c = fields.DecimalField(max_digits=5, decimal_places=1)
    hold_min = fields.DecimalField(max_digits=7, decimal_places=1, validators=[not_below_zero])

    def to_representation(self, step: Any) -> dict[str, Any]:
        """Return the figures as they are stored."""
        return {name: str(step[name]) for name in self.fields if name in step}


@extend_schema_field({"type": "object", "additionalProperties": True, "nullable": True})
class KineticsField(serializers.JSONField):
    """Constants of a cure model, by name."""

    def to_internal_value(self, data: Any) -> Any:
        """Return the constants as plain numbers."""
        if data is not None and not isinstance(data, dict):
            raise fields.refuse("must be an object of named constants.", "not_an_object")
        return super().to_internal_value(plain_numbers(data))


ABOVE_ZERO = (
    "hardener_per_100", "ratio_tolerance_percent", "mixed_density_kg_l", "pot_life_min",
    "pot_life_mass_kg", "gel_time_min", "deepest_lift_mm", "gap_greatest_min", "demould_min",
    "activation_kj_mol", "pour_rate_kg_min", "vessel_kg",
)  # fmt: skip
ZERO_OR_MORE = ("gap_least_min", "least_batch_kg", "residue_fixed_kg", "residue_share")


class SystemComponentSerializer(StrictModelSerializer):
    """A component of a resin system beside resin and hardener, by parts to 100 of resin."""

    class Meta:
        model = SystemComponent
        fields: ClassVar = [
            "id", "system", "order", "name", "material", "per_100", "tolerance_percent", "source",
            "etag",
        ]  # fmt: skip
        extra_kwargs: ClassVar = dict.fromkeys(("per_100", "tolerance_percent"), POSITIVE)


class ResinSystemSerializer(StrictModelSerializer):
    post_cure = PostCureStepSerializer(many=True, required=False)
    kinetics = KineticsField(required=False, allow_null=True)
    kinetics_from = serializers.SerializerMethodField(
        help_text="Where the kinetics come from. Only those fitted from enough records of this "
        "shop, and not changed since, narrow the clocks."
    )
    calibrated = serializers.SerializerMethodField(
        help_text="Whether the clocks trust the kinetics as the shop's own."
    )
    sources = serializers.DictField(child=fields.TextField(max_length=300), required=False)
    units = serializers.DictField(
        child=fields.TextField(max_length=10),
        required=False,
        write_only=True,
        help_text="Of figures given in another unit than their names say, the unit: c, f, kg, lb, "
        "oz, mm, in, min, h and such. They are converted and kept in the unit of their name.",
    )
    confirmed = fields.YesNoField(
        required=False,
        write_only=True,
        default=False,
        help_text="The values are really so: without this one that is unusual for a filled epoxy "
        "is refused as `implausible`.",
    )

    class Meta:
        model = ResinSystem
        fields: ClassVar = [
            "id", "code", "name", "resin", "hardener", "hardener_per_100",
            "ratio_tolerance_percent", "mixed_density_kg_l", "pot_life_min", "pot_life_mass_kg",
            "reference_c", "gel_time_min", "deepest_lift_mm", "gap_least_min",
            "gap_greatest_min", "demould_min", "activation_kj_mol", "service_c", "cap_c",
            "post_cure", "kinetics", "weigh_min", "mix_min", "clean_min", "move_min",
            "abrade_min", "pour_rate_kg_min", "vessel_kg", "least_batch_kg",
            "most_tools_per_batch", "residue_fixed_kg", "residue_share", "sources", "units",
            "confirmed", "kinetics_from", "calibrated",
            "etag",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {
            **dict.fromkeys(ABOVE_ZERO, POSITIVE),
            **dict.fromkeys(ZERO_OR_MORE, NOT_NEGATIVE),
        }

    def get_kinetics_from(self, system: ResinSystem) -> str:
        """Say where the kinetics come from."""
        return kinetics_origin(system).words

    def get_calibrated(self, system: ResinSystem) -> bool:
        """Say whether they are trusted as the shop's own."""
        return kinetics_origin(system).calibrated

    def to_internal_value(self, data: Any) -> Any:
        """Convert the figures whose unit is told before they are checked."""
        units = data.get("units") if isinstance(data, Mapping) else None
        if not isinstance(units, Mapping):
            return super().to_internal_value(data)
        found, refused = dict(data), {}
        for name, unit in units.items():
            try:
                given = Decimal(str(data[name]))
                kept = convert(given, str(unit), SYSTEM_UNITS[str(name)])
                found[name] = str(metric(ResinSystem, name, kept))
            except (KeyError, ValueError, ArithmeticError):
                refused[f"units/{name}"] = [fields.detail(
                    f"units names {str(name)[:40]} in {str(unit)[:10]}; name a figure that is "
                    f"given, of {', '.join(SYSTEM_UNITS)}, and a unit of its kind.",
                    "unit", None, None,
                )]  # fmt: skip
        if refused:
            raise serializers.ValidationError(refused)
        return super().to_internal_value(found)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Ask about values that may be slips; those that stay as they were are not asked about."""
        confirmed = values.pop("confirmed", False)
        values.pop("units", None)
        fresh = {
            name: float(values[name])
            for name in USUAL
            if values.get(name) is not None and values[name] != getattr(self.instance, name, None)
        }
        if not confirmed and (found := unusual(fresh)):
            raise serializers.ValidationError({
                one.field: [fields.detail(
                    f"{one.words} Look at the data sheet and its units, and confirm it if it is "
                    "really so.",
                    "implausible", f"{one.low:g} to {one.high:g}", one.unit or None,
                )]
                for one in found
            })  # fmt: skip
        return values

    def validate_post_cure(self, steps: Any) -> Any:
        """Return the steps as plain numbers."""
        return [plain_numbers(dict(step)) for step in steps]
