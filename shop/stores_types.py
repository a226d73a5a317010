"""What the stores tell the planning side: plain frozen values, no rows of the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any


@dataclass(frozen=True)
class MaterialInfo:
    """A material; `use_per_m2` is one coat on one square metre, in the material's unit."""

    id: int
    code: str
    name: str
    kind: str
    unit: str
    density_kg_l: Decimal | None
    hazard_statements: tuple[str, ...]
    signal_word: str
    safety_data_sheet: str
    stir_before_use: bool
    stir_hours: int | None
    warm_hours: Decimal
    use_per_m2: Decimal | None
    storage_low_c: Decimal | None
    storage_high_c: Decimal | None


@dataclass(frozen=True)
class ComponentInfo:
    """What a system has beside resin and hardener, by mass to 100 of resin."""

    name: str
    material: MaterialInfo
    per_100: Decimal
    tolerance_percent: Decimal


@dataclass(frozen=True)
class SystemInfo:
    """A resin system with every value under the name it has in the register."""

    id: int
    code: str
    name: str
    resin: MaterialInfo
    hardener: MaterialInfo
    hardener_per_100: Decimal
    ratio_tolerance_percent: Decimal
    mixed_density_kg_l: Decimal
    pot_life_min: Decimal
    pot_life_mass_kg: Decimal
    reference_c: Decimal
    gel_time_min: Decimal | None
    deepest_lift_mm: Decimal
    gap_least_min: Decimal | None
    gap_greatest_min: Decimal | None
    demould_min: Decimal
    activation_kj_mol: Decimal | None
    service_c: Decimal | None
    cap_c: Decimal | None
    post_cure: tuple[Mapping[str, Any], ...]
    kinetics: Mapping[str, Any] | None
    weigh_min: int
    mix_min: int
    clean_min: int
    move_min: int
    abrade_min: int
    pour_rate_kg_min: Decimal
    vessel_kg: Decimal | None
    least_batch_kg: Decimal
    most_tools_per_batch: int
    residue_fixed_kg: Decimal
    residue_share: Decimal
    sources: Mapping[str, str]
    further: tuple[ComponentInfo, ...] = ()
    """Components beside resin and hardener, in order of weighing."""

    @property
    def materials(self) -> tuple[MaterialInfo, ...]:
        """What it is mixed from, in order of weighing: the hardener comes last."""
        return (self.resin, *(one.material for one in self.further), self.hardener)

    @property
    def per_100(self) -> dict[str, Decimal]:
        """Parts by mass to 100 of resin of each component, by name, in order of weighing."""
        others = {one.name: one.per_100 for one in self.further}
        return {"resin": Decimal(100), **others, "hardener": self.hardener_per_100}

    @property
    def ratio_words(self) -> str:
        """The ratio as people write it, such as 100 : 50 filler : 12 by mass."""
        others = "".join(f" : {one.per_100.normalize():f} {one.name}" for one in self.further)
        return f"100{others} : {self.hardener_per_100.normalize():f} by mass"


@dataclass(frozen=True)
class ContainerInfo:
    """A container on its shelf; `usable_until` is the moment its first clock runs out, UTC."""

    id: int
    code: str
    lot_id: int
    lot_code: str
    lot_status: str
    lot_reason: str
    lot_since: datetime | None
    """When the lot got its status; None where that is not recorded."""
    material_id: int
    material_code: str
    material_name: str
    location: str
    balance: Decimal
    free: Decimal
    opened_at: datetime | None
    expires_on: date | None
    open_life_days: int | None
    usable_until: datetime | None
    made_on: date | None


@dataclass(frozen=True)
class ToolWork:
    """Something to be done to a tool on a day: coats, old wax off, an inspection."""

    tool_id: int
    code: str
    name: str
    place: str
    work: str
    words: str
    recipe: str
    due_on: date
    since: datetime | None
    """From when it is due; None while it is only expected."""


@dataclass(frozen=True)
class RecipeInfo:
    """So many coats of one release agent, and what goes on before them."""

    id: int
    code: str
    name: str
    material: MaterialInfo
    coats: int
    hands_min_per_m2: Decimal
    least_hands_min: int
    dry_min: int
    last_dry_min: int
    longest_to_pour_min: int | None
    haze_min: int | None
    """Wait until it hazes, then buff; None where it is not buffed."""
    sealer: MaterialInfo | None
    sealer_dry_min: int


@dataclass(frozen=True)
class PersonInfo:
    """A person with the stretches of work in the days asked for, aware and in UTC."""

    id: int
    code: str
    name: str
    skills: tuple[str, ...]
    user_id: int | None
    shifts: tuple[tuple[datetime, datetime], ...]


@dataclass(frozen=True)
class MixerInfo:
    """A mixer with the batch masses its vessel takes."""

    id: int
    code: str
    name: str
    largest_kg: Decimal
    least_kg: Decimal
    closed: tuple[tuple[datetime, datetime], ...] = ()
    """When it is out of use, in the days asked for."""


@dataclass(frozen=True)
class PlaceInfo:
    """A bench, an oven or floor space."""

    id: int
    code: str
    name: str
    kind: str
    capacity: int
    closed: tuple[tuple[datetime, datetime], ...] = ()
    """When it is out of use, in the days asked for."""


@dataclass(frozen=True)
class ScaleInfo:
    """A scale: what it carries and the smallest step it shows."""

    id: int
    code: str
    name: str
    capacity_kg: Decimal
    readability_g: Decimal


@dataclass(frozen=True)
class SiteWeek:
    """What a site has to work with over some days."""

    site_id: int
    time_zone: str
    people: tuple[PersonInfo, ...]
    mixers: tuple[MixerInfo, ...]
    places: tuple[PlaceInfo, ...]
    scales: tuple[ScaleInfo, ...]
    expected_c: Mapping[date, Decimal]
    closed_days: tuple[date, ...]


@dataclass(frozen=True)
class ToolInfo:
    """A tool of the register."""

    id: int
    site_id: int
    code: str
    name: str
    kind: str
    status: str
    customer: str
    service_c: Decimal | None


@dataclass(frozen=True)
class ReplacementNeed:
    """A tool whose replacement must be ordered by a day to stand ready before it may fail."""

    tool_id: int
    code: str
    name: str
    shots: int
    shots_kept: int
    last_day: date
    order_by: date
    lead_words: str
    basis: str


@dataclass(frozen=True)
class MovementInfo:
    """A movement that is in the ledger; `balance_after` is the container's balance then."""

    id: int
    key: str
    container_id: int
    quantity: Decimal
    balance_after: Decimal


@dataclass(frozen=True)
class NeedRow:
    """A dated need for a material, in its unit; firm once stock is reserved for it."""

    material_id: int
    label: str
    quantity: Decimal
    needed_at: datetime
    firm: bool


@dataclass(frozen=True)
class ExpectedReceipt:
    """What a supplier still owes: quantity, expected moment, shelf life on arrival."""

    material_id: int
    quantity: Decimal
    expected_at: datetime
    shelf_life_months: int | None


@dataclass(frozen=True)
class ToolNeed:
    """Work a tool needs since it has run enough shots."""

    tool_id: int
    site_id: int
    name: str
    work: str
    since: datetime
    words: str
