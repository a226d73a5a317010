"""What each calculator asks for. The same forms read the pages' and the API's query string."""

from __future__ import annotations

from typing import Any

from django import forms

from planning.core.casting.faces import TOOL_SIDES
from planning.core.casting.system import SystemData
from planning.system_data import system_data
from planning.workbench.fields import Choice, Lines, Quantity
from shop import stores
from shop.stores_types import SystemInfo

SIDE_WORDS = {
    "metal": "Metal",
    "board": "Board or wood",
    "foam": "Foam",
    "unknown": "Not known (counts as insulated)",
}


class CalculatorForm(forms.Form):
    """A form that knows its fields' names, and the resin system chosen."""

    error_css_class = "refused"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="%s", **kwargs)
        for name, field in self.fields.items():
            field.name = name
        self.infos: dict[str, SystemInfo] = {}
        if "system" in self.fields:
            self.infos = {info.code: info for info in stores.systems()}
            choices = [(code, f"{code}: {info.name}") for code, info in self.infos.items()]
            empty = [] if self.fields["system"].required else [("", "None: I type the figures")]
            self.fields["system"].choices = empty + choices

    @property
    def info(self) -> SystemInfo | None:
        """The register's system, where one was chosen."""
        return self.infos.get(self.cleaned_data.get("system", ""))

    @property
    def chosen(self) -> SystemData:
        """The chosen system as the physics sees it."""
        info = self.info
        return SystemData("no system") if info is None else system_data(info)

    def needed(self, name: str, otherwise: float | None) -> float | None:
        """Return a typed figure, else the system's; refuse when there is neither."""
        value: float | None = self.cleaned_data.get(name)
        if value is None:
            value = otherwise
        if value is None and name not in self.errors:
            self.add_error(name, f"{name} is missing; type it, or choose a system that has it.")
        return value


def system_field(*, required: bool = True) -> Choice:
    """Return the choice of a resin system, filled when the form is made."""
    return Choice("Resin system", required=required)


def shop_c() -> Quantity:
    """Return the temperature of the shop."""
    return Quantity("Shop temperature", "°C", -10, 60, help_text="Expected while it cures.")


def mix_c() -> Quantity:
    """Return the temperature of the components, where it differs."""
    return Quantity(
        "Temperature of the components", "°C", -10, 60, required=False,
        help_text="When it differs from the shop, such as resin from a cold store.",
    )  # fmt: skip


def tool_side() -> Choice:
    """Return what the lift stands on; unknown counts as insulated."""
    return Choice(
        "The lift stands on", choices=[(key, SIDE_WORDS[key]) for key in TOOL_SIDES],
        required=False, initial="unknown",
    )  # fmt: skip


class VolumeForm(CalculatorForm):
    """Sizes of a cavity."""

    shape = Choice(
        "Shape", required=False, initial="box",
        choices=[("box", "Box, with a pattern in it or without"),
                 ("round", "Round, straight or conical"), ("bowl", "Bowl, part of a sphere")],
    )  # fmt: skip
    length_mm = Quantity("Length inside", "mm", 0, 10_000, above=True, required=False)
    width_mm = Quantity("Width inside", "mm", 0, 10_000, above=True, required=False)
    r_bottom_mm = Quantity("Radius at the bottom (round)", "mm", 0, 10_000, required=False)
    r_top_mm = Quantity("Radius at the top (round)", "mm", 0, 10_000, required=False)
    radius_mm = Quantity(
        "Radius of the sphere (bowl)", "mm", 0, 10_000, above=True, required=False
    )
    depth_mm = Quantity("Depth of the casting", "mm", 0, 10_000, above=True)
    wall_draft_deg = Quantity("Draft of the walls (box)", "deg", -45, 45, required=False)
    pattern_volume_l = Quantity(
        "Volume of the pattern (box)", "L", 0, 100_000, required=False,
        help_text="What the pattern takes up inside the box.",
    )  # fmt: skip
    pattern_height_mm = Quantity(
        "Height of the pattern (box)", "mm", 0, 10_000, above=True, required=False,
        help_text="Empty: the depth less the usual 10 mm of cover.",
    )  # fmt: skip
    system = system_field(required=False)
    density_kg_l = Quantity("Mixed density", "kg/L", 0.2, 10, required=False)
    max_lift_mm = Quantity("Deepest lift", "mm", 1, 5_000, required=False)
    poured_l = Quantity(
        "Poured so far", "L", 0, 100_000, above=True, required=False,
        help_text="To see how deep it stands.",
    )  # fmt: skip


class RatioForm(CalculatorForm):
    """A mix ratio, from a system or typed."""

    system = system_field(required=False)
    hardener_per_100 = Quantity(
        "Hardener to 100 of resin, by mass", "parts", 0, 1_000, above=True, required=False,
        help_text="Empty: the system's.",
    )  # fmt: skip
    tolerance_percent = Quantity(
        "How far the ratio may be off", "%", 0, 50, above=True, required=False,
        help_text="Of the ratio. Empty: the system's, else 2 %.",
    )  # fmt: skip


class MixForm(RatioForm):
    """What to weigh."""

    hardener_per_100_by_volume = Quantity(
        "or to 100 of resin, by volume", "parts", 0, 1_000, above=True, required=False,
        help_text="Needs both densities.",
    )  # fmt: skip
    total_g = Quantity("Mass to mix", "g", 0, 1e7, above=True, required=False)
    volume_l = Quantity(
        "or volume to fill", "L", 0, 1e4, above=True, required=False,
        help_text="Needs the mixed density; waste and residue are added.",
    )  # fmt: skip
    density_kg_l = Quantity(
        "Mixed density", "kg/L", 0.2, 10, required=False, help_text="Empty: the system's."
    )
    waste_percent = Quantity("Waste", "%", 0, 100, required=False, help_text="Empty: 5 %.")
    residue_g = Quantity("Left in each pot", "g", 0, 1e5, required=False)
    brush_coat_g = Quantity("Brush coat", "g", 0, 1e6, required=False)
    largest_pot_kg = Quantity("Largest pot", "kg", 0, 1e4, above=True, required=False)
    readability_g = Quantity(
        "Scale shows steps of", "g", 0, 1_000, above=True, help_text="For resin."
    )
    hardener_readability_g = Quantity(
        "Hardener's scale, if another", "g", 0, 1_000, above=True, required=False
    )
    resin_kg_l = Quantity(
        "Density of the resin", "kg/L", 0.2, 10, required=False,
        help_text="With the hardener's, to see the ratio by volume.",
    )  # fmt: skip
    hardener_kg_l = Quantity("Density of the hardener", "kg/L", 0.2, 10, required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for one amount, not two and not none."""
        found = super().clean() or {}
        amounts = [name for name in ("total_g", "volume_l") if found.get(name) is not None]
        wrong = {"total_g", "volume_l"} & set(self.errors)
        by_volume = found.get("hardener_per_100_by_volume")
        if by_volume is not None:
            if found.get("hardener_per_100") is not None:
                self.add_error(
                    "hardener_per_100_by_volume",
                    "hardener_per_100_by_volume: a ratio by mass is given as well; give one.",
                )
            for name in ("resin_kg_l", "hardener_kg_l"):
                if found.get(name) is None and name not in self.errors:
                    self.add_error(name, f"{name} is missing; a ratio by volume needs it.")
        if len(amounts) != 1 and not wrong:
            said = "both given" if amounts else "neither given"
            self.add_error("total_g", f"total_g and volume_l: {said}; give exactly one of them.")
        return found


class OverpourForm(RatioForm):
    """What is in the pot, when one component was poured too far."""

    resin_g = Quantity("Resin in the pot", "g", 0, 1e7, above=True)
    hardener_g = Quantity("Hardener in the pot", "g", 0, 1e7, help_text="0 when none is in yet.")
    readability_g = Quantity("Scale shows steps of", "g", 0, 1_000, above=True)
    pot_kg = Quantity("The pot may hold", "kg", 0, 1e4, above=True, required=False)
    lift_kg = Quantity("The lift takes", "kg", 0, 1e5, above=True, required=False)
    stock_kg = Quantity(
        "In stock of what must be added", "kg", 0, 1e5, required=False,
        help_text="Empty: not checked.",
    )  # fmt: skip


class PotLifeForm(CalculatorForm):
    """A batch in its bucket."""

    system = system_field()
    shop_c = shop_c()
    mix_c = mix_c()
    batch_kg = Quantity("Mass of the batch", "kg", 0, 1_000, above=True, required=False)
    mix_min = Quantity("Mixing takes", "min", 0, 240, required=False)
    move_min = Quantity("Second container and carrying", "min", 0, 240, required=False)
    pour_kg_min = Quantity("Pouring rate", "kg/min", 0, 1_000, above=True, required=False)
    safety_percent = Quantity(
        "Share of the pot life to use", "%", 1, 100, required=False, help_text="Empty: 80 %."
    )
    vessel_kg = Quantity("The vessel takes", "kg", 0, 10_000, above=True, required=False)
    mixer_kg = Quantity("The mixer takes", "kg", 0, 10_000, above=True, required=False)


class LiftForm(CalculatorForm):
    """One lift."""

    system = system_field()
    depth_mm = Quantity("Depth of the lift", "mm", 0, 1_000, above=True)
    shop_c = shop_c()
    tool_side = tool_side()
    mould_c = Quantity(
        "Temperature of the mould", "°C", 0, 150, required=False,
        help_text="Where it is heated or cooled. Empty: the shop's.",
    )  # fmt: skip
    oven_c = Quantity(
        "Temperature of the oven", "°C", 0, 150, required=False,
        help_text="Where it is poured in an oven or heated cell. Empty: in the shop.",
    )  # fmt: skip
    cured_below_mm = Quantity(
        "Cured casting below", "mm", 0, 2_000, above=True, required=False,
        help_text="Of the same system, between this lift and what it stands on.",
    )  # fmt: skip
    mix_c = mix_c()
    cap_c = Quantity(
        "Hottest it may get", "°C", 20, 250, required=False,
        help_text="Of this and the system's own limit the lower holds.",
    )  # fmt: skip
    service_c = Quantity(
        "Service temperature wanted", "°C", 0, 300, required=False,
        help_text="Empty: the system's.",
    )  # fmt: skip


class SectionForm(CalculatorForm):
    """A casting that is not wide."""

    system = system_field()
    shape = Choice(
        "Seen from above it is", required=False, initial="long",
        choices=[("long", "Long: at least three times as long as wide"),
                 ("round", "Round, or about square")],
    )  # fmt: skip
    width_mm = Quantity(
        "Width, or diameter", "mm", 5, 5_000, help_text="The shorter side of a long one."
    )
    depth_mm = Quantity("Depth of the casting", "mm", 5, 1_000)
    shop_c = shop_c()
    tool_side = tool_side()
    wall_side = Choice(
        "Its sides touch", choices=[(key, SIDE_WORDS[key]) for key in TOOL_SIDES],
        required=False, initial="unknown",
    )  # fmt: skip
    pattern_width_mm = Quantity(
        "Width of the pattern, or diameter", "mm", 0, 5_000, above=True, required=False,
        help_text="Where one stands in the middle of the base and is cast over.",
    )  # fmt: skip
    pattern_height_mm = Quantity(
        "Height of the pattern", "mm", 0, 1_000, above=True, required=False
    )
    pattern_side = Choice(
        "The pattern is of", choices=[(key, SIDE_WORDS[key]) for key in TOOL_SIDES],
        required=False, initial="unknown",
    )  # fmt: skip
    mix_c = mix_c()


class ClocksForm(CalculatorForm):
    """Two lifts, one on the other."""

    system = system_field()
    depth_mm = Quantity("Depth of each lift", "mm", 1, 400)
    shop_c = shop_c()
    tool_side = tool_side()


class SheetValuesForm(CalculatorForm):
    """Values of a data sheet, before they are saved."""

    NEEDED = ("pot_life_min", "reference_c", "deepest_lift_mm", "demould_min")
    VALUES = (
        *NEEDED, "pot_life_mass_kg", "gel_time_min", "gap_least_min", "gap_greatest_min",
        "activation_kj_mol", "cap_c",
    )  # fmt: skip
    system = Choice("Former values of", required=False)
    pot_life_min = Quantity("Pot life", "min", 0, 1e6, above=True, required=False)
    pot_life_mass_kg = Quantity("Pot life measured on", "kg", 0, 1e4, above=True, required=False)
    reference_c = Quantity("Temperature of these times", "°C", -50, 300, required=False)
    gel_time_min = Quantity("Gel time", "min", 0, 1e7, above=True, required=False)
    deepest_lift_mm = Quantity("Deepest lift", "mm", 0, 1e5, above=True, required=False)
    gap_least_min = Quantity("Next lift at the earliest after", "min", 0, 1e7, required=False)
    gap_greatest_min = Quantity(
        "Next lift at the latest after", "min", 0, 1e7, above=True, required=False
    )
    demould_min = Quantity("Demould after", "min", 0, 1e7, above=True, required=False)
    activation_kj_mol = Quantity("Activation energy", "kJ/mol", 0, 1e4, above=True, required=False)
    cap_c = Quantity("A casting may reach at most", "°C", -50, 999, required=False)
    batch_kg = Quantity("Mass of a batch", "kg", 0, 1_000, above=True, required=False)
    tool_side = tool_side()

    def given(self, name: str, otherwise: float | None) -> float | None:
        """Return a typed figure; one that was sent empty is none, one not sent is the former's."""
        value: float | None = self.cleaned_data.get(name)
        return otherwise if value is None and name not in self.data else value


class FitForm(CalculatorForm):
    """The shop's own records."""

    system = system_field()
    pours = Lines(
        "Pours logged",
        required=False,
        help_text="For each pour a line of depth mm, height of the probe above the base mm, shop "
        "°C, what it stands on (metal, board, foam); then its readings, hours, °C, one a line. An "
        "empty line between pours.",
    )
    times = Lines(
        "Times seen",
        required=False,
        help_text="One a line: °C, minutes. Of one thing only, such as gel times.",
    )

    def clean(self) -> dict[str, Any]:
        """Ask for at least one of the two."""
        found = super().clean() or {}
        if not found.get("pours") and not found.get("times") and not self.errors:
            self.add_error("pours", "pours and times: neither given; give at least one of them.")
        return found


class PropertiesForm(CalculatorForm):
    """Parts of a filled resin."""

    resin_kg_l = Quantity("Density of the unfilled mix", "kg/L", 0.2, 10)
    filler_kg_l = Quantity("Density of the filler", "kg/L", 0.2, 25)
    mixed_kg_l = Quantity("Density of the filled mix", "kg/L", 0.2, 25)
    resin_w_mk = Quantity(
        "Conductivity of the unfilled mix", "W/mK", 0.01, 500, required=False,
        help_text="Empty: 0.2, usual for epoxy.",
    )  # fmt: skip
    filler_w_mk = Quantity(
        "Conductivity of the filler", "W/mK", 0.01, 3_000, required=False,
        help_text="Aluminium: 237.",
    )  # fmt: skip
    resin_cp_kj_kgk = Quantity("Heat capacity of the unfilled mix", "kJ/kgK", 0.1, 10,
                               required=False, help_text="Empty: 1.8.")  # fmt: skip
    filler_cp_kj_kgk = Quantity("Heat capacity of the filler", "kJ/kgK", 0.1, 10,
                                required=False, help_text="Empty: 0.9.")  # fmt: skip
    epoxide_equivalent_g = Quantity("Epoxide equivalent weight", "g", 50, 5_000, required=False)
    amine_equivalent_g = Quantity("Amine hydrogen equivalent weight", "g", 5, 1_000,
                                  required=False)  # fmt: skip
    amine_hydrogens = Quantity(
        "Hydrogens of a hardener molecule", "", 2, 20, required=False,
        help_text="Empty: 4, a diamine. To guess the conversion at gel.",
    )  # fmt: skip


class CureForm(CalculatorForm):
    """A temperature record and what follows it."""

    system = system_field()
    record = Lines(
        "Temperatures logged",
        required=False,
        help_text="One a line: hours since pouring, comma, °C; or a moment such as "
        "2026-11-25T08:00, comma, °C, where the first is the moment of pouring. Where the clocks "
        "change in between, give every moment with its offset, such as "
        "2026-11-25T08:00+01:00.",
    )
    then_c = Quantity("Temperature from then on", "°C", -10, 60)
    post_cure = Lines(
        "Post-cure",
        required=False,
        help_text="One step a line: to °C, at °C per hour, hold minutes. Such as 50, 10, 240.",
    )
    service_c = Quantity(
        "Service temperature wanted", "°C", 0, 300, required=False,
        help_text="Empty: the system's.",
    )  # fmt: skip


class DewForm(CalculatorForm):
    """Air and surface."""

    air_c = Quantity("Air", "°C", -45, 60)
    humidity_percent = Quantity("Relative humidity", "%", 0, 100, above=True)
    surface_c = Quantity("Surface to coat or pour on", "°C", -45, 60)
    least_margin_k = Quantity(
        "Least margin over the dew point", "K", 0, 20, required=False, help_text="Empty: 3 K."
    )
