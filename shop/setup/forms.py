"""The forms of what is bought and mixed, with a sentence beside each field."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from django import forms

from shared.units import read_quantity
from shop.core.usual_values import USUAL, unusual
from shop.materials.components import KINDS, SystemComponent
from shop.materials.models import (
    SYSTEM_UNITS,
    SYSTEM_VALUES,
    Material,
    MaterialKind,
    ResinSystem,
    metric,
)
from shop.materials.queries import kinetics_origin
from shop.materials.suppliers import Supplier
from shop.setup.entries import (
    HazardField,
    WeekdaysField,
)
from shop.setup.register_form import CODE_HINT, RegisterForm


class MaterialForm(RegisterForm):
    labels = {
        "unit": "Counted in",
        "density_kg_l": "Density, kg/L",
        "shelf_life_months": "Shelf life unopened, months",
        "open_life_days": "Life once opened, days",
        "storage_low_c": "Store at least at, °C",
        "storage_high_c": "Store at most at, °C",
        "hazard_statements": "Hazard statements",
        "safety_data_sheet": "Safety data sheet",
        "check_on_receipt": "Check each delivery before use",
        "stir_before_use": "Stir before use",
        "stir_hours": "Stir again after, h",
        "warm_hours": "Hours out of the store before use",
        "use_per_m2": "Used for one coat on 1 m²",
        "source": "Where these values stand",
    }
    hints = {
        "code": CODE_HINT,
        "hazard_statements": "The codes in section 2 of the safety data sheet, such as "
        "H315, H317. They become the cautions on sheet and pages.",
        "safety_data_sheet": "Where it is kept: a shelf, a file, an address.",
        "density_kg_l": "In section 9 of the safety data sheet; needed to check volumes.",
        "stir_hours": "The batch page asks for a signed stirring before a can's first weighing. "
        "Empty: at the start of each day.",
        "open_life_days": "Days a container may be used once opened; empty if not stated.",
        "use_per_m2": "In the unit above; for release agents and sealers.",
        "source": "Data sheet with its date, or who measured it.",
    }
    hazard_statements = HazardField()

    class Meta:
        model = Material
        fields = [
            "name", "code", "kind", "unit", "hazard_statements", "signal_word",
            "safety_data_sheet", "shelf_life_months", "open_life_days", "storage_low_c",
            "storage_high_c", "density_kg_l", "check_on_receipt", "stir_before_use",
            "stir_hours", "warm_hours", "use_per_m2", "source",
        ]  # fmt: skip


class SupplierForm(RegisterForm):
    labels = {
        "order_email": "E-mail for orders",
        "our_account": "Our customer number",
        "terms": "Terms of payment and delivery",
        "least_life_days": "Least shelf life left on arrival, days",
        "lead_time_days": "Delivers in, days",
        "closed_weekdays": "Closed on",
    }
    hints = {"code": CODE_HINT, "currency": "Three letters of ISO 4217, such as EUR."}
    closed_weekdays = WeekdaysField()

    class Meta:
        model = Supplier
        fields = [
            "name", "code", "order_email", "lead_time_days", "currency", "closed_weekdays",
            "address", "contact", "our_account", "terms", "least_life_days",
        ]  # fmt: skip
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}


class ResinSystemForm(RegisterForm):
    """A resin system in the order data sheets print its values."""

    labels = {
        "mixed_density_kg_l": "Density of the mix, kg/L",
        "hardener_per_100": "Hardener to 100 parts of resin, by mass",
        "ratio_tolerance_percent": "Ratio may be off by, %",
        "pot_life_min": "Pot life, min",
        "pot_life_mass_kg": "Pot life measured on, kg",
        "reference_c": "Temperature of these times, °C",
        "gel_time_min": "Gel time, min",
        "deepest_lift_mm": "Deepest lift, mm",
        "gap_least_min": "Next lift at the earliest after, min",
        "gap_greatest_min": "Next lift at the latest after, min",
        "demould_min": "Demould after, min",
        "service_c": "Service temperature, °C",
        "cap_c": "A casting may reach at most, °C",
        "activation_kj_mol": "Activation energy, kJ/mol",
        "vessel_kg": "Largest batch, kg",
        "least_batch_kg": "Least batch, kg",
        "residue_fixed_kg": "Left in each pot, kg",
        "residue_share": "Left in each pot, share of its mass",
    }
    hints = {
        "code": CODE_HINT,
        "hardener_per_100": "By mass, as the sheet prints it. A ratio by volume is converted with "
        "both densities.",
        "pot_life_min": "At the temperature and on the mass below. Filled epoxies: usually 15 to "
        "180 min (common practice, no source).",
        "pot_life_mass_kg": "Data sheets measure on 0.1 to 1 kg; a larger pot gets hotter.",
        "deepest_lift_mm": "The greatest thickness the sheet allows at once.",
        "gap_least_min": "Empty if the sheet does not state it.",
        "gap_greatest_min": "While it still bonds without abrading; empty if not stated.",
        "demould_min": "12 to 48 h is usual: 720 to 2880 min (common practice, no source).",
        "cap_c": "Empty if not stated; then no lift is said to be safe by temperature.",
        "activation_kj_mol": "Only if measured; empty takes the careful side both ways.",
        "residue_share": "0.01 is one part in a hundred (common practice, no source).",
    }
    source = forms.CharField(
        max_length=200,
        label="Where these values stand",
        help_text="Data sheet with its date and page. Values that name another source keep it.",
    )
    confirmed = forms.BooleanField(required=False, widget=forms.HiddenInput)

    class Meta:
        model = ResinSystem
        fields = [
            "name", "code", "resin", "hardener", "hardener_per_100", "ratio_tolerance_percent",
            "mixed_density_kg_l", "pot_life_min", "pot_life_mass_kg", "reference_c",
            "gel_time_min", "deepest_lift_mm", "gap_least_min", "gap_greatest_min",
            "demould_min", "service_c", "cap_c", "activation_kj_mol", "vessel_kg",
            "least_batch_kg", "residue_fixed_kg", "residue_share",
        ]  # fmt: skip

    def __init__(self, data: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(None if data is None else self._metric(data), *args, **kwargs)
        for name, kind in (("resin", MaterialKind.RESIN), ("hardener", MaterialKind.HARDENER)):
            self.fields[name].queryset = Material.objects.filter(kind=kind)
        if self.instance.pk:
            told = list(dict.fromkeys(self.instance.sources.values()))
            self.fields["source"].initial = told[0] if told else ""
            self.fields["kinetics_from"] = forms.CharField(
                label="Kinetics", required=False, disabled=True,
                initial=kinetics_origin(self.instance).words,
                help_text="Those fitted from enough records of this shop narrow the clocks.",
            )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """Ask about values that may be slips; those that stay as they were are not asked about."""
        given = super().clean() or self.cleaned_data
        fresh = {
            name: float(given[name])
            for name in USUAL
            if given.get(name) is not None and name in self.changed_data
        }
        found = [] if given.get("confirmed") else unusual(fresh)
        for one in found:
            self.add_error(one.field, f"{self.fields[one.field].label} {one.words}")
        if found:
            self.fields["confirmed"].widget = forms.CheckboxInput()
            self["confirmed"].label = "Yes, the data sheet really says so"
        return given

    def _metric(self, data: Any) -> Any:
        """Return what was typed, with figures that carry another unit in the column's own."""
        found = data.copy()
        for name, unit in SYSTEM_UNITS.items():
            text = str(found.get(name, "")).strip()
            if text[-1:].isalpha() or text[-1:] == '"':
                # What is no figure with a unit stays as it is: the field refuses it.
                with suppress(ValueError, ArithmeticError):
                    found[name] = str(metric(ResinSystem, name, read_quantity(text, unit)))
        return found

    def values(self) -> dict[str, Any]:
        """Return the columns to write, each stated value with its source."""
        values = super().values()
        before: dict[str, str] = self.instance.sources if self.instance.pk else {}
        first = self.fields["source"].initial or ""
        sources = dict(before)
        for name in SYSTEM_VALUES:
            stated = values.get(name, getattr(self.instance, name)) not in (None, [], {})
            changed = name in self.changed_data or before.get(name, "") in ("", first)
            if stated and name in values and changed:
                sources[name] = self.cleaned_data["source"]
            if not stated:
                sources.pop(name, None)
        return {**values, "sources": sources}


class SystemComponentForm(RegisterForm):
    """What a system has beside resin and hardener."""

    labels = {
        "per_100": "Parts by mass to 100 of resin",
        "tolerance_percent": "May be off by, %",
        "order": "Weighed after the resin, as number",
        "source": "Where these values stand",
    }
    hints = {
        "name": "What people call it at the scale, in small letters, such as filler.",
        "per_100": "Parts per hundred resin, also written phr.",
        "order": "1 comes right after the resin. The hardener is weighed last, for the pot life "
        "runs from there (common practice, no source).",
        "source": "Data sheet with its date and page, or who measured it. Pot life, density, "
        "depth and heat of the system must be those of the mix with this component in it.",
    }

    class Meta:
        model = SystemComponent
        fields = ["system", "name", "material", "per_100", "tolerance_percent", "order", "source"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["material"].queryset = Material.objects.filter(kind__in=KINDS)
        self.fields["tolerance_percent"].initial = self.instance.tolerance_percent
