"""
Which values of the catalogue ask for a second pair of eyes, and how they are kept as text.

A wrong pot life, ratio or depth is mixed by at every site; a wrong order address sends money and
data to a stranger; a wrong price decides what is bought.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db.models import Model

GUARDED: dict[str, tuple[str, ...]] = {
    "shop.resinsystem": (
        "resin",
        "hardener",
        "hardener_per_100",
        "ratio_tolerance_percent",
        "mixed_density_kg_l",
        "pot_life_min",
        "pot_life_mass_kg",
        "reference_c",
        "gel_time_min",
        "deepest_lift_mm",
        "gap_least_min",
        "gap_greatest_min",
        "demould_min",
        "activation_kj_mol",
        "service_c",
        "cap_c",
        "post_cure",
        "kinetics",
        "vessel_kg",
        "sources",
    ),
    "shop.systemcomponent": ("name", "order", "material", "per_100", "tolerance_percent"),
    "shop.material": (
        "hazard_statements",
        "signal_word",
        "safety_data_sheet",
        "shelf_life_months",
        "open_life_days",
        "storage_low_c",
        "storage_high_c",
        "stir_before_use",
        "stir_hours",
    ),
    "shop.supplier": ("order_email", "currency"),
    "shop.pack": ("material", "content", "price", "from_packs", "least_packs", "gtin"),
}
WHOLE_ROWS = frozenset({"shop.pack"})
"""Registers in which adding or taking away a row changes what is paid, as a new price does."""


def label_of(row: Model | type[Model]) -> str:
    """Return the name of a register's model, such as `shop.pack`."""
    return str(row._meta.label_lower)


def model_of(label: str) -> Any:
    """Return the model of a guarded register."""
    if label not in GUARDED:
        raise ValueError(f"{label} is not guarded.")
    return apps.get_model(label)


def as_kept(row: Model, name: str) -> Any:
    """Return a row's value in the form in which a proposed change keeps it."""
    field: Any = row._meta.get_field(name)
    return plain(getattr(row, field.attname))


def plain(value: Any) -> Any:
    """Return a value as JSON holds it: a linked row by its id, decimals and dates as text."""
    if isinstance(value, Model):
        return value.pk
    if isinstance(value, Decimal):
        # 25 and 25.0 are one value; normalize alone would write 2E+1 for 20.
        return format(value.normalize(), "f")
    if isinstance(value, float):
        return plain(Decimal(str(value)))
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {name: plain(member) for name, member in value.items()}
    if isinstance(value, list | tuple):
        return [plain(member) for member in value]
    return value


def changed(row: Model, values: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Return the guarded values that would change, each as what it is and what it would be."""
    found = {}
    for name in GUARDED.get(label_of(row), ()):
        if name in values:
            before, after = as_kept(row, name), _in_form(row, name, values[name])
            if before != after:
                found[name] = (before, after)
    return found


def _in_form(row: Model, name: str, value: Any) -> Any:
    field: Any = row._meta.get_field(name)
    if isinstance(value, Model):
        return value.pk
    return plain(field.to_python(value) if not field.is_relation else value)


def set_values(row: Any, values: Mapping[str, Any]) -> None:
    """Give a row the values that a proposed change keeps."""
    for name, value in values.items():
        field: Any = row._meta.get_field(name)
        kept = value if field.is_relation else field.to_python(value)
        setattr(row, field.attname, kept)


def words_for(model: type[Model], name: str) -> str:
    """Return a field's name as the pages print it."""
    if (label_of(model), name) in _PAGE_NAMES:
        return _PAGE_NAMES[label_of(model), name]
    field: Any = model._meta.get_field(name)
    text = str(field.verbose_name)
    return text[:1].upper() + text[1:]


_PAGE_NAMES = {
    ("shop.material", "stir_hours"): "Stir again after, h",
    ("shop.resinsystem", "hardener_per_100"): "Hardener to 100 parts of resin, by mass",
    ("shop.resinsystem", "ratio_tolerance_percent"): "Ratio may be off by, %",
    ("shop.resinsystem", "mixed_density_kg_l"): "Density of the mix, kg/L",
    ("shop.resinsystem", "pot_life_min"): "Pot life, min",
    ("shop.resinsystem", "pot_life_mass_kg"): "Pot life measured on, kg",
    ("shop.resinsystem", "reference_c"): "Temperature of these times, °C",
    ("shop.resinsystem", "gel_time_min"): "Gel time, min",
    ("shop.resinsystem", "deepest_lift_mm"): "Deepest lift, mm",
    ("shop.resinsystem", "gap_least_min"): "Next lift at the earliest after, min",
    ("shop.resinsystem", "gap_greatest_min"): "Next lift at the latest after, min",
    ("shop.resinsystem", "demould_min"): "Demould after, min",
    ("shop.resinsystem", "service_c"): "Service temperature, °C",
    ("shop.resinsystem", "cap_c"): "A casting may reach at most, °C",
    ("shop.resinsystem", "activation_kj_mol"): "Activation energy, kJ/mol",
    ("shop.resinsystem", "vessel_kg"): "Largest batch, kg",
    ("shop.resinsystem", "sources"): "Where these values stand",
    ("shop.material", "shelf_life_months"): "Shelf life unopened, months",
    ("shop.material", "open_life_days"): "Life once opened, days",
    ("shop.material", "storage_low_c"): "Store at least at, °C",
    ("shop.material", "storage_high_c"): "Store at most at, °C",
    ("shop.supplier", "order_email"): "E-mail for orders",
    ("shop.pack", "price"): "Price of one",
    ("shop.pack", "content"): "Pack size",
    ("shop.pack", "from_packs"): "Price holds from so many packs",
    ("shop.pack", "least_packs"): "Least packs of one order",
}
