"""
Fitting a system to the shop's own records: an activation energy from times, kinetics from curves.

Every figure comes back with a 95 % interval, and with a caution where the records do not
determine it. A fit describes the pours it was made from; it is no licence to pour deeper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.arrhenius import GAS_CONSTANT_J_MOLK, KELVIN
from planning.core.casting.exotherm import lift_temps_c
from planning.core.casting.lift_curve import known
from planning.core.casting.logged import LoggedPour
from planning.core.casting.system import SystemData

Array = NDArray[np.float64]

REFERENCE_C = 25.0
FITTABLE = ("k1", "k2", "e1_j_mol", "e2_j_mol", "heat_j_kg", "conductivity_w_mk")


@dataclass(frozen=True)
class Fitted:
    """A fitted figure and its 95 % interval; infinite where the records do not determine it."""

    name: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class ArrheniusFit:
    """Activation energy and time at `REFERENCE_C` from times at several temperatures."""

    e_j_mol: Fitted
    time_at_reference: Fitted
    worst_miss_percent: float


def fit_activation_energy(times: Sequence[float], temps_c: Sequence[float]) -> ArrheniusFit:
    """
    Fit one activation energy to times (pot life, gel, demould) at several temperatures.

    Parameters
    ----------
    times : sequence of float, shape (n,)
        Times in any one unit.
    temps_c : sequence of float, shape (n,)
        Temperatures they were seen at, C.

    Returns
    -------
    ArrheniusFit
        From a straight line of ln t on 1/T; with two readings the interval is unbounded.

    Raises
    ------
    ValueError
        If fewer than two readings or only one temperature is given.
    """
    if len(times) != len(temps_c) or len(times) < 2:
        raise ValueError(
            f"{len(times)} times and {len(temps_c)} temperatures; at least two of each are needed"
        )
    for i, (time, temp_c) in enumerate(zip(times, temps_c, strict=True), start=1):
        require.positive(**{f"time {i}": time})
        require.temperature(**{f"temperature {i}": temp_c})
    x = 1 / (np.asarray(temps_c, dtype=float) + KELVIN) - 1 / (REFERENCE_C + KELVIN)
    if float(np.ptp(x)) == 0:
        raise ValueError(f"all readings are at {temps_c[0]:g} C; two temperatures are needed")
    y = np.log(np.asarray(times, dtype=float))
    design = np.column_stack([np.ones_like(x), x])
    (intercept, slope), *_ = np.linalg.lstsq(design, y, rcond=None)
    misses = design @ np.array([intercept, slope]) - y
    wide = _half_widths(design, misses)
    e, spread = slope * GAS_CONSTANT_J_MOLK, wide[1] * GAS_CONSTANT_J_MOLK
    return ArrheniusFit(
        Fitted("e_j_mol", float(e), float(e - spread), float(e + spread)),
        Fitted("time", math.exp(intercept), math.exp(intercept - wide[0]),
               math.exp(min(intercept + wide[0], 700.0))),
        100 * float(np.max(np.abs(np.expm1(misses)))),
    )  # fmt: skip


@dataclass(frozen=True)
class KineticsFit:
    """A system refitted to logged pours, with how sure and how close it is."""

    system: SystemData
    figures: tuple[Fitted, ...]
    rms_k: float
    """Root mean square of measured less computed, K."""
    computed_c: tuple[tuple[float, ...], ...]
    """For every pour, at its own times."""
    cautions: tuple[str, ...]


def fit_kinetics(
    system: SystemData,
    pours: Sequence[LoggedPour],
    free: Sequence[str] = ("k1", "k2", "heat_j_kg"),
) -> KineticsFit:
    """
    Fit a system's kinetics and heat to temperature curves of the shop's own pours.

    Parameters
    ----------
    system : SystemData
        Starting values; what is not free stays as it is.
    pours : sequence of LoggedPour
        At least one. Pours at different temperatures are needed to tell `e1_j_mol`, `e2_j_mol`.
    free : sequence of str
        Among `FITTABLE`; ``k1`` and ``k2`` are the two rate constants at `REFERENCE_C`, 1/s,
        which separate far better from the energies than the pre-exponential factors do.

    Returns
    -------
    KineticsFit
        The system with the fitted figures, their intervals, and computed beside measured.

    Raises
    ------
    ValueError
        If the system has no kinetics to start from, a name is unknown or there are fewer readings
        than free figures.

    Notes
    -----
    Least squares on the logarithms of the figures, Levenberg-Marquardt; intervals are Student's t
    times the standard errors of the linearised fit. Readings are taken as independent; those of a
    logger are not quite, so the true intervals are somewhat wider.
    """
    from scipy.optimize import least_squares

    known(system)
    unknown = [name for name in free if name not in FITTABLE]
    if unknown or not free:
        raise ValueError(f"cannot fit {unknown or 'nothing'}; choose among {', '.join(FITTABLE)}")
    readings = sum(len(p.times_h) for p in pours)
    if readings <= len(free):
        raise ValueError(f"{readings} readings cannot fix {len(free)} figures; log more")
    start = np.array([_read(system, name) for name in free])
    if np.any(start <= 0):
        zero = free[int(np.argmin(start))]
        raise ValueError(f"{zero} starts at 0; a figure must be above 0 to be fitted")

    def misses(logs: Array) -> Array:
        trial = _written(system, free, start * np.exp(logs))
        return np.concatenate([_computed(trial, p) - np.asarray(p.temps_c) for p in pours])

    found = least_squares(
        misses, np.zeros(len(free)), method="trf", bounds=(-3.0, 3.0), diff_step=1e-3,
        xtol=1e-6, ftol=1e-8,
    )  # fmt: skip
    values, wide = start * np.exp(found.x), _half_widths(found.jac, found.fun)
    figures = tuple(
        Fitted(name, float(v), float(v * math.exp(-w)), float(v * math.exp(min(w, 600.0))))
        for name, v, w in zip(free, values, wide, strict=True)
    )
    fitted = _written(system, free, values)
    seen = [t for p in pours for t in p.temps_c]
    fitted = replace(fitted, kinetics=replace(
        known(fitted)[0], fitted_from_c=min(seen), fitted_to_c=max(seen)
    ))  # fmt: skip
    return KineticsFit(
        system=fitted,
        figures=figures,
        rms_k=float(np.sqrt(np.mean(found.fun**2))),
        computed_c=tuple(tuple(float(t) for t in _computed(fitted, p)) for p in pours),
        cautions=tuple(_cautions(figures, found.x, pours)),
    )


def _computed(system: SystemData, pour: LoggedPour) -> Array:
    return lift_temps_c(
        system, pour.depth_mm, pour.shop_c, pour.base, pour.top, pour.height_mm, pour.times_h,
        mix_c=pour.mix_c,
    )  # fmt: skip


def _half_widths(jacobian: Array, misses: Array) -> Array:
    """Return the half widths of 95 % intervals; infinite where they cannot be told."""
    from scipy.stats import t

    spare = len(misses) - jacobian.shape[1]
    normal = jacobian.T @ jacobian
    if spare <= 0 or np.linalg.matrix_rank(normal) < len(normal):
        return np.full(len(normal), math.inf)
    variance = float(misses @ misses) / spare
    errors = np.sqrt(np.maximum(np.diag(np.linalg.inv(normal)) * variance, 0.0))
    wide: Array = errors * float(t.ppf(0.975, spare))
    return wide


def _boltzmann(e_j_mol: float) -> float:
    return math.exp(-e_j_mol / GAS_CONSTANT_J_MOLK / (REFERENCE_C + KELVIN))


def _read(system: SystemData, name: str) -> float:
    kinetics, thermal = known(system)
    if name == "k1":
        return kinetics.a1_per_s * _boltzmann(kinetics.e1_j_mol)
    if name == "k2":
        return kinetics.a2_per_s * _boltzmann(kinetics.e2_j_mol)
    owner = kinetics if name.startswith("e") else thermal
    return float(getattr(owner, name))


def _written(system: SystemData, names: Sequence[str], values: Array) -> SystemData:
    kinetics, thermal = known(system)
    new = {name: _read(system, name) for name in FITTABLE}
    new |= {name: float(v) for name, v in zip(names, values, strict=True)}
    return replace(
        system,
        kinetics=replace(
            kinetics,
            a1_per_s=new["k1"] / _boltzmann(new["e1_j_mol"]), e1_j_mol=new["e1_j_mol"],
            a2_per_s=new["k2"] / _boltzmann(new["e2_j_mol"]), e2_j_mol=new["e2_j_mol"],
        ),
        thermal=replace(
            thermal, heat_j_kg=new["heat_j_kg"], conductivity_w_mk=new["conductivity_w_mk"]
        ),
    )  # fmt: skip


def _cautions(figures: Sequence[Fitted], logs: Array, pours: Sequence[LoggedPour]) -> list[str]:
    said = []
    for figure, log in zip(figures, logs, strict=True):
        if not figure.high <= 1.5 * figure.value:
            said.append(f"{figure.name} is hardly determined by these records; do not rely on it.")
        if abs(log) > 2.99:
            said.append(f"{figure.name} ran to the end of its range; the model does not fit.")
    energies = any(figure.name.startswith("e") for figure in figures)
    if energies and max(p.shop_c for p in pours) - min(p.shop_c for p in pours) < 4:
        said.append("Pours within 4 K of one another tell little about activation energies.")
    return said
