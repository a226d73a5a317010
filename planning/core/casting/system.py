"""What is known about a resin system's behaviour: datasheet points and, where fitted, kinetics."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from planning.core.casting import require
from planning.core.casting.arrhenius import CAREFUL_E_J_MOL, USUAL_E_J_MOL

USUAL_GEL_CONVERSION = 0.577
"""Of four amine hydrogens on one molecule of hardener and two epoxides, see `gel_conversion`."""

USUAL_PEAK_LIMIT_C = 80.0
"""Hottest a casting may get where its system states no limit. Assumed, no source: boards,
waxes and most cold-cured systems suffer above it."""


POT_MASS_MULTIPLE = 5.0
"""A pot whose heat cannot be computed may be so many times the mass its pot life was read on,
until the shop says that it pours larger ones. Assumed, no source: heat grows with mass."""

FAR_K = 15.0
"""Kinetics used so far outside their records carry a caution. Assumed; two fits equally good on
ramps at 100 C and above were 37 % apart at 25 C (measured DSC ramps of an epoxy)."""


@dataclass(frozen=True)
class TimePoint:
    """A time printed on a datasheet, the temperature it holds at, and the mass it was read on."""

    minutes: float
    temp_c: float
    mass_kg: float | None = None

    def __post_init__(self) -> None:
        require.positive(minutes=self.minutes)
        require.temperature(temp_c=self.temp_c)
        if self.mass_kg is not None:
            require.positive(mass_kg=self.mass_kg)


@dataclass(frozen=True)
class Datasheet:
    """What the datasheet says; a point it does not give is None. Temperatures in C."""

    pot_life: TimePoint | None = None
    gel: TimePoint | None = None
    demould: TimePoint | None = None
    least_gap: TimePoint | None = None
    """From pouring one lift to pouring the next, at the earliest."""
    greatest_gap: TimePoint | None = None
    """From pouring one lift to pouring the next while it still bonds."""
    deepest_lift_mm: float | None = None

    def __post_init__(self) -> None:
        if self.deepest_lift_mm is not None:
            require.positive(deepest_lift_mm=self.deepest_lift_mm)


@dataclass(frozen=True)
class Kinetics:
    """
    Kamal-Sourour rate law with a diffusion brake.

    ``da/dt = (k1 + k2 a^m)(1-a)^n / (1 + exp(C (a - ac0 - acT T)))`` with ``k = A exp(-E/RT)``,
    T in kelvin. ``brake_c`` of 0 means no brake. With ``a1_per_s`` of 0 the law would never start
    from 0, so `start_conversion` must then be above 0.
    """

    a1_per_s: float
    e1_j_mol: float
    a2_per_s: float
    e2_j_mol: float
    m: float
    n: float
    brake_c: float = 0.0
    brake_ac0: float = 0.0
    brake_act_per_k: float = 0.0
    start_conversion: float = 0.0
    fitted_from_c: float | None = None
    fitted_to_c: float | None = None
    """Coldest and hottest of the records that the constants were fitted to; None: not told."""

    def __post_init__(self) -> None:
        require.not_negative(
            a1_per_s=self.a1_per_s, a2_per_s=self.a2_per_s, m=self.m, n=self.n,
            e1_j_mol=self.e1_j_mol, e2_j_mol=self.e2_j_mol, brake_c=self.brake_c,
        )  # fmt: skip
        require.finite(brake_ac0=self.brake_ac0, brake_act_per_k=self.brake_act_per_k)
        require.within(0.0, 0.5, start_conversion=self.start_conversion)
        if self.a1_per_s + self.a2_per_s == 0:
            raise ValueError("a1_per_s and a2_per_s are both 0 1/s; one must be above 0")
        if self.a1_per_s == 0 and self.m > 0 and self.start_conversion == 0:
            raise ValueError(
                "start_conversion is 0; with a1_per_s 0 it must be above 0 (try 1e-3)"
            )
        told = [t for t in (self.fitted_from_c, self.fitted_to_c) if t is not None]
        require.temperature(**{f"fitted_c {i}": t for i, t in enumerate(told)})
        if len(told) == 1 or told != sorted(told):
            raise ValueError(
                f"fitted_from_c is {self.fitted_from_c} C and fitted_to_c {self.fitted_to_c} C; "
                "give both, the colder first, or neither"
            )

    def beyond_records(self, temp_c: float) -> bool:
        """Say whether a temperature is far outside the records the constants were fitted to."""
        if self.fitted_from_c is None or self.fitted_to_c is None:
            return False
        return not self.fitted_from_c - FAR_K <= temp_c <= self.fitted_to_c + FAR_K


@dataclass(frozen=True)
class Thermal:
    """Heat properties of the mixed, filled resin."""

    density_kg_m3: float
    heat_capacity_j_kgk: float
    conductivity_w_mk: float
    reactive_fraction: float
    """Mass of resin and hardener without filler over the mass of the mix, 0 to 1."""
    heat_j_kg: float
    """Released by one kilogram of the reactive part on full cure."""

    def __post_init__(self) -> None:
        require.positive(
            density_kg_m3=self.density_kg_m3,
            heat_capacity_j_kgk=self.heat_capacity_j_kgk,
            conductivity_w_mk=self.conductivity_w_mk,
        )
        require.within(0.0, 1.0, reactive_fraction=self.reactive_fraction)
        require.not_negative(heat_j_kg=self.heat_j_kg)

    @property
    def adiabatic_rise_k(self) -> float:
        """Rise of a batch that loses no heat and cures fully, K: ``H w / cp``."""
        return self.heat_j_kg * self.reactive_fraction / self.heat_capacity_j_kgk


@dataclass(frozen=True)
class GlassTransition:
    """DiBenedetto form: Tg of the unreacted mix, of the fully cured one, and lambda (0 to 1)."""

    uncured_c: float
    cured_c: float
    lam: float

    def __post_init__(self) -> None:
        require.temperature(uncured_c=self.uncured_c, cured_c=self.cured_c)
        require.positive(lam=self.lam)
        require.within(0.0, 1.0, lam=self.lam)
        if self.cured_c <= self.uncured_c:
            raise ValueError(
                f"cured_c is {self.cured_c:g} C; it must be above uncured_c, {self.uncured_c:g} C"
            )


@dataclass(frozen=True)
class SystemData:
    """
    A resin system as the physics sees it.

    Everything beyond the name may be missing: without `kinetics` and `thermal` the datasheet
    points are shifted by activation energy; with them both are computed and the stricter holds.
    """

    name: str
    datasheet: Datasheet = field(default_factory=Datasheet)
    kinetics: Kinetics | None = None
    thermal: Thermal | None = None
    glass: GlassTransition | None = None
    e_j_mol: float | None = None
    """Its own activation energy for shifting datasheet times; None where it was never measured."""
    peak_cap_c: float | None = None
    """Hottest a casting of this system may get."""
    service_c: float | None = None
    gel_conversion: float = USUAL_GEL_CONVERSION
    gel_is_known: bool = False
    """Whether `gel_conversion` is this system's own and not the usual one."""
    pot_life_conversion: float = 0.05
    pot_life_core_c: float = 40.0
    """The pot life ends at this conversion or this core temperature, whichever comes first."""
    largest_pot_kg: float | None = None
    """Largest pot that the shop has said it pours, kg; None: it has not said."""
    bond_conversion: float | None = None
    """Surface conversion past which the next lift no longer bonds without abrading."""
    demould_conversion: float | None = None
    further: tuple[str, ...] = ()
    """Names of the components that the shop mixes in beside resin and hardener."""

    def __post_init__(self) -> None:
        if self.e_j_mol is not None:
            require.positive(e_j_mol=self.e_j_mol)
        for name in ("gel_conversion", "pot_life_conversion", "bond_conversion",
                     "demould_conversion"):  # fmt: skip
            value = getattr(self, name)
            if value is not None:
                require.positive(**{name: value})
                require.within(0.0, 1.0, **{name: value})
        if self.largest_pot_kg is not None:
            require.positive(largest_pot_kg=self.largest_pot_kg)
        for name in ("peak_cap_c", "service_c", "pot_life_core_c"):
            value = getattr(self, name)
            if value is not None:
                require.temperature(**{name: value})

    @property
    def pot_limit_kg(self) -> float:
        """Largest pot this system may be mixed in by what is known of its heat, kg."""
        point = self.datasheet.pot_life
        if self.largest_pot_kg is not None:
            return self.largest_pot_kg
        if self.computable or point is None or point.mass_kg is None:
            return math.inf
        return POT_MASS_MULTIPLE * point.mass_kg

    @property
    def peak_limit_c(self) -> float:
        """Hottest a casting may get: as stated, or a usual limit where nothing is."""
        return USUAL_PEAK_LIMIT_C if self.peak_cap_c is None else self.peak_cap_c

    @property
    def usual_e_j_mol(self) -> float:
        """The activation energy of a best estimate: its own, or the usual one."""
        return USUAL_E_J_MOL if self.e_j_mol is None else self.e_j_mol

    @property
    def energies_j_mol(self) -> tuple[float, float]:
        """Activation energies of which the stricter holds: its own alone, or a careful pair."""
        return CAREFUL_E_J_MOL if self.e_j_mol is None else (self.e_j_mol, self.e_j_mol)

    @property
    def computable(self) -> bool:
        """Whether lifts and pots of this system can be computed, not only read off."""
        return self.kinetics is not None and self.thermal is not None
