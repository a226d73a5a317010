"""Mix arithmetic: ratios, densities, how much to mix for a volume, and over-pour correction."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from planning.core.casting import require


def exact(value: float) -> Fraction:
    """Read a figure as the decimal people see, so that 0.1 g is one tenth and not nearly so."""
    return Fraction(repr(float(value)))


@dataclass(frozen=True)
class MixRatio:
    """Parts of hardener per 100 of resin by mass, and how far off it may be, in % of itself."""

    hardener_per_100: float
    tolerance_percent: float = 2.0

    def __post_init__(self) -> None:
        require.positive(hardener_per_100=self.hardener_per_100)
        require.positive(tolerance_percent=self.tolerance_percent)
        require.within(0.0, 50.0, tolerance_percent=self.tolerance_percent)

    @property
    def per_resin(self) -> float:
        """Mass of hardener for one of resin."""
        return self.hardener_per_100 / 100

    def split_kg(self, total_kg: float) -> tuple[float, float]:
        """Return the masses of resin and hardener in a batch, kg."""
        require.not_negative(total_kg=total_kg)
        resin_kg = total_kg / (1 + self.per_resin)
        return resin_kg, total_kg - resin_kg

    def error_percent(self, resin: float, hardener: float) -> float:
        """Return how far the ratio reached is off, % of the ratio; positive is hardener-rich."""
        require.positive(resin=resin)
        require.not_negative(hardener=hardener)
        return float(self._error(exact(resin), exact(hardener)))

    def keeps(self, resin: float, hardener: float) -> bool:
        """Say whether two masses keep the ratio within its tolerance, exactly."""
        error = self._error(exact(resin), exact(hardener))
        return abs(error) <= exact(self.tolerance_percent)

    def _error(self, resin: Fraction, hardener: Fraction) -> Fraction:
        return 100 * (100 * hardener / resin / exact(self.hardener_per_100) - 1)


def hardener_per_100_by_mass(
    per_100_by_volume: float, resin_kg_l: float, hardener_kg_l: float
) -> float:
    """
    Turn a ratio by volume into one by mass.

    Examples
    --------
    >>> round(hardener_per_100_by_mass(25.0, 1.85, 1.0), 2)
    13.51
    """
    require.positive(
        per_100_by_volume=per_100_by_volume, resin_kg_l=resin_kg_l, hardener_kg_l=hardener_kg_l
    )
    return per_100_by_volume * hardener_kg_l / resin_kg_l


def hardener_per_100_by_volume(
    per_100_by_mass: float, resin_kg_l: float, hardener_kg_l: float
) -> float:
    """Turn a ratio by mass into one by volume."""
    require.positive(
        per_100_by_mass=per_100_by_mass, resin_kg_l=resin_kg_l, hardener_kg_l=hardener_kg_l
    )
    return per_100_by_mass * resin_kg_l / hardener_kg_l


def mixed_density_kg_l(hardener_per_100: float, resin_kg_l: float, hardener_kg_l: float) -> float:
    """
    Return the density of the mix, total mass over total volume with no contraction, kg/L.

    Examples
    --------
    >>> round(mixed_density_kg_l(12.0, 1.85, 1.0), 4)
    1.6956
    """
    require.positive(
        hardener_per_100=hardener_per_100, resin_kg_l=resin_kg_l, hardener_kg_l=hardener_kg_l
    )
    return (100 + hardener_per_100) / (100 / resin_kg_l + hardener_per_100 / hardener_kg_l)


def stoichiometric_per_100(epoxide_equivalent_g: float, amine_equivalent_g: float) -> float:
    """Return the parts of amine hardener per 100 of resin with one hydrogen for each epoxide."""
    require.positive(
        epoxide_equivalent_g=epoxide_equivalent_g, amine_equivalent_g=amine_equivalent_g
    )
    return 100 * amine_equivalent_g / epoxide_equivalent_g


@dataclass(frozen=True)
class Losses:
    """What is mixed but does not end up in the cavity."""

    waste_fraction: float = 0.05
    """Of the mass that goes into the cavity."""
    residue_kg: float = 0.0
    """Left in each pot."""
    brush_coat_kg_m2: float = 0.0
    brush_coat_m2: float = 0.0

    def __post_init__(self) -> None:
        require.within(0.0, 1.0, waste_fraction=self.waste_fraction)
        require.not_negative(
            residue_kg=self.residue_kg,
            brush_coat_kg_m2=self.brush_coat_kg_m2,
            brush_coat_m2=self.brush_coat_m2,
        )


@dataclass(frozen=True)
class Need:
    """What to mix for a volume, and into how many equal pots it goes."""

    cast_kg: float
    brush_coat_kg: float
    waste_kg: float
    residue_kg: float
    pots: int
    pot_kg: float
    total_kg: float


def mix_for_volume(
    volume_l: float, density_kg_l: float, losses: Losses, largest_pot_kg: float = math.inf
) -> Need:
    """
    Return what must be mixed so that a volume is filled.

    Parameters
    ----------
    volume_l : float
        Volume of the cavity, L.
    density_kg_l : float
        Mixed density, kg/L.
    losses : Losses
        Waste, brush coat and what stays in each pot.
    largest_pot_kg : float
        Most that one pot may hold, kg; more is divided into equal pots, the fewest that do.

    Returns
    -------
    Need
        Masses in kg; ``total_kg = cast + brush coat + waste + residue``.

    Raises
    ------
    ValueError
        If a figure is not positive, or the residue alone fills a pot.

    Examples
    --------
    >>> round(mix_for_volume(21.4, 1.7, Losses(waste_fraction=0.05)).total_kg, 3)
    38.199
    """
    require.positive(volume_l=volume_l, density_kg_l=density_kg_l)
    if not largest_pot_kg > losses.residue_kg:
        raise ValueError(
            f"largest_pot_kg is {largest_pot_kg:g} kg; it must exceed the "
            f"{losses.residue_kg:g} kg that stay in each pot"
        )
    cast_kg = volume_l * density_kg_l
    coat_kg = losses.brush_coat_kg_m2 * losses.brush_coat_m2
    waste_kg = cast_kg * losses.waste_fraction
    useful_kg = cast_kg + coat_kg + waste_kg
    # A pot filled to the last gram is full, not one too many: forgive the rounding of the sum.
    pots = max(1, math.ceil(useful_kg / (largest_pot_kg - losses.residue_kg) - 1e-9))
    residue_kg = pots * losses.residue_kg
    total_kg = useful_kg + residue_kg
    return Need(cast_kg, coat_kg, waste_kg, residue_kg, pots, total_kg / pots, total_kg)


@dataclass(frozen=True)
class Correction:
    """What to do when the pot on the scale is off its ratio."""

    error_percent: float
    within_tolerance: bool
    add: str
    """Name of the component, or '' when nothing has to be added."""
    add_g: float
    """To the scale's division, rounded so that the ratio comes back inside its tolerance."""
    new_total_g: float
    error_after_percent: float
    problems: tuple[str, ...]
    """What the larger batch no longer fits: pot, lift or stock, each in words with figures."""


def correct_overpour(
    ratio: MixRatio,
    resin_g: float,
    hardener_g: float,
    readability_g: float,
    *,
    component: str = "hardener",
    others_g: float = 0.0,
    pot_g: float = math.inf,
    lift_g: float = math.inf,
    stock_g: float = math.inf,
) -> Correction:
    """
    Return what to add so that a batch weighed off its ratio is right again.

    Only what is short can be added; nothing can be taken out of a pot that has touched. The
    larger batch is then held against the pot, the lift and the stock.

    Parameters
    ----------
    ratio : MixRatio
        Ratio and tolerance of the system.
    resin_g, hardener_g : float
        What is in the pot, g; no hardener yet is 0.
    readability_g : float
        Division of the scale, g.
    component : str
        What people call the hardener, or another component that has its ratio to the resin.
    others_g : float
        What else lies in the pot, g; it counts in the new total.
    pot_g : float
        Most the pot may hold (vessel, mixer and pot life), g.
    lift_g : float
        Most the lift can take, losses included, g.
    stock_g : float
        Mass left of the component that must be added, g.

    Returns
    -------
    Correction
        Exact to the scale's division; `problems` is empty when the new batch fits everything.

    Raises
    ------
    ValueError
        If the resin or the readability is not positive, or no addition in whole divisions reaches
        the tolerance (the batch is too small for this scale).

    Examples
    --------
    >>> correct_overpour(MixRatio(12.0, 2.0), 1000.0, 130.0, 1.0).add_g
    83.0
    """
    require.positive(resin_g=resin_g, readability_g=readability_g)
    require.not_negative(hardener_g=hardener_g)
    error = ratio.error_percent(resin_g, hardener_g)
    if ratio.keeps(resin_g, hardener_g):
        total_g = resin_g + hardener_g + others_g
        return Correction(error, True, "", 0.0, total_g, error, ())
    add = "resin" if error > 0 else component
    add_g = _addition_g(ratio, resin_g, hardener_g, readability_g, add)
    resin_after = float(exact(resin_g) + (exact(add_g) if add == "resin" else 0))
    hardener_after = float(exact(hardener_g) + (exact(add_g) if add == component else 0))
    after = ratio.error_percent(resin_after, hardener_after)
    if not ratio.keeps(resin_after, hardener_after):
        raise ValueError(
            f"adding {add_g:g} g of {add} leaves the ratio {after:+.2f} % off; a scale reading to "
            f"{readability_g:g} g cannot reach {ratio.tolerance_percent:g} % on so small a batch"
        )
    total_g = float(exact(resin_after) + exact(hardener_after) + exact(others_g))
    return Correction(
        error, False, add, add_g, total_g, after,
        _overflow(add, add_g, total_g, pot_g, lift_g, stock_g),
    )  # fmt: skip


def _addition_g(
    ratio: MixRatio, resin_g: float, hardener_g: float, division_g: float, add: str
) -> float:
    per_resin = exact(ratio.hardener_per_100) / 100
    resin, hardener, division = exact(resin_g), exact(hardener_g), exact(division_g)
    missing = hardener / per_resin - resin if add == "resin" else resin * per_resin - hardener
    return float(round(missing / division) * division)


def _overflow(
    add: str, add_g: float, total_g: float, pot_g: float, lift_g: float, stock_g: float
) -> tuple[str, ...]:
    problems = []
    if total_g > pot_g:
        problems.append(f"The batch becomes {total_g:g} g; this pot may hold {pot_g:g} g.")
    if total_g > lift_g:
        problems.append(f"The batch becomes {total_g:g} g; the lift takes {lift_g:g} g.")
    if add_g > stock_g:
        problems.append(f"{add_g:g} g of {add} are needed; {stock_g:g} g are in stock.")
    return tuple(problems)
