"""Properties of filled resin from its parts: density, conductivity, heat capacity."""

from __future__ import annotations

from collections.abc import Sequence

from planning.core.casting import require


def density_from_mass_fractions(fractions: Sequence[float], densities: Sequence[float]) -> float:
    """
    Return the density of a mix without voids, in the unit of `densities`.

    Parameters
    ----------
    fractions : sequence of float, shape (n,)
        Mass fractions; they must add up to 1 within 1e-6.
    densities : sequence of float, shape (n,)
        Densities of the parts.

    Raises
    ------
    ValueError
        If the fractions do not add up to 1, a figure is not positive or lengths differ.

    Examples
    --------
    >>> round(density_from_mass_fractions([0.417, 0.583], [1.12, 2.70]), 4)
    1.7
    """
    _check_fractions(fractions, densities)
    return 1 / sum(w / rho for w, rho in zip(fractions, densities, strict=True))


def filler_volume_fraction(mix: float, matrix: float, filler: float) -> float:
    """Return the volume fraction of filler from three densities in one unit."""
    require.positive(mix=mix, matrix=matrix, filler=filler)
    if not min(matrix, filler) <= mix <= max(matrix, filler) or matrix == filler:
        raise ValueError(
            f"mix density is {mix:g}; it must lie between the parts', {matrix:g} and {filler:g}"
        )
    return (mix - matrix) / (filler - matrix)


def filler_mass_fraction(volume_fraction: float, mix: float, filler: float) -> float:
    """Return the mass fraction of filler from its volume fraction and densities."""
    require.within(0.0, 1.0, volume_fraction=volume_fraction)
    require.positive(mix=mix, filler=filler)
    return volume_fraction * filler / mix


def heat_capacity_of_mix(fractions: Sequence[float], capacities: Sequence[float]) -> float:
    """Return the heat capacity of a mix, the mass-weighted sum, in the unit of `capacities`."""
    _check_fractions(fractions, capacities)
    return sum(w * cp for w, cp in zip(fractions, capacities, strict=True))


def conductivity_maxwell(matrix_w_mk: float, filler_w_mk: float, volume_fraction: float) -> float:
    """
    Return the conductivity of dilute spheres in a matrix, W/mK (Maxwell-Eucken, from memory).

    It is the lower Hashin-Shtrikman bound for a filler that conducts better than the matrix.
    """
    _check_conductivity(matrix_w_mk, filler_w_mk, volume_fraction)
    km, kf, phi = matrix_w_mk, filler_w_mk, volume_fraction
    return km * (kf + 2 * km + 2 * phi * (kf - km)) / (kf + 2 * km - phi * (kf - km))


def conductivity_lewis_nielsen(
    matrix_w_mk: float,
    filler_w_mk: float,
    volume_fraction: float,
    shape_a: float = 1.5,
    closest_packing: float = 0.637,
) -> float:
    """
    Return the Lewis-Nielsen conductivity, W/mK (form from memory; spheres, random packing).

    A fit and not a bound: it falls below Maxwell's value at 10-20 % filler by volume.
    """
    _check_conductivity(matrix_w_mk, filler_w_mk, volume_fraction)
    require.positive(shape_a=shape_a, closest_packing=closest_packing)
    ratio = filler_w_mk / matrix_w_mk
    b = (ratio - 1) / (ratio + shape_a)
    psi = 1 + (1 - closest_packing) / closest_packing**2 * volume_fraction
    if b * psi * volume_fraction >= 1:
        raise ValueError(
            f"volume_fraction is {volume_fraction:g}; with packing {closest_packing:g} the form "
            "has no value there"
        )
    return matrix_w_mk * (1 + shape_a * b * volume_fraction) / (1 - b * psi * volume_fraction)


def conductivity_bruggeman(
    matrix_w_mk: float, filler_w_mk: float, volume_fraction: float
) -> float:
    """
    Return the asymmetric Bruggeman conductivity, W/mK (form from memory).

    The root k of ``(kf - k)/(kf - km) (km/k)^(1/3) = 1 - phi``, by bisection.
    """
    _check_conductivity(matrix_w_mk, filler_w_mk, volume_fraction)
    km, kf = matrix_w_mk, filler_w_mk
    if km == kf:
        return km

    def left(k: float) -> float:
        return float((kf - k) / (kf - km) * (km / k) ** (1 / 3))

    near_matrix, near_filler = km, kf  # left() falls from 1 at the matrix to 0 at the filler
    for _ in range(200):
        middle = (near_matrix + near_filler) / 2
        if left(middle) > 1 - volume_fraction:
            near_matrix = middle
        else:
            near_filler = middle
    return (near_matrix + near_filler) / 2


def _check_conductivity(matrix_w_mk: float, filler_w_mk: float, volume_fraction: float) -> None:
    require.positive(matrix_w_mk=matrix_w_mk, filler_w_mk=filler_w_mk)
    require.within(0.0, 1.0, volume_fraction=volume_fraction)


def _check_fractions(fractions: Sequence[float], values: Sequence[float]) -> None:
    if len(fractions) != len(values) or not fractions:
        raise ValueError(
            f"{len(fractions)} fractions and {len(values)} values; one of each a part"
        )
    for i, (fraction, value) in enumerate(zip(fractions, values, strict=True), start=1):
        require.within(0.0, 1.0, **{f"fraction {i}": fraction})
        require.positive(**{f"value {i}": value})
    if abs(sum(fractions) - 1) > 1e-6:
        raise ValueError(f"the fractions add up to {sum(fractions):g}; they must add up to 1")
