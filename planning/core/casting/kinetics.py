"""Cure kinetics: the rate law on arrays, isothermal times, gel conversion and glass transition."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.arrhenius import GAS_CONSTANT_J_MOLK, KELVIN
from planning.core.casting.system import GlassTransition, Kinetics

Array = NDArray[np.float64]

_MOST_EXPONENT = 300.0
"""exp(300) brakes a rate to nothing; more would only overflow while a solver tries a step."""


class RateLaw:
    """
    Kamal-Sourour with diffusion brake on all cells at once, and its slopes.

    `factors`, shape (lanes,), speed up or slow down the reaction of each lane.

    It keeps its scratch arrays, because a lift calls it some two hundred times and allocating
    would cost as much as the arithmetic. One law therefore serves one solve at a time.
    """

    def __init__(
        self, kinetics: Kinetics, lanes: int, cells: int, factors: Array | None = None
    ) -> None:
        self._k = kinetics
        log_a = np.array([_log(kinetics.a1_per_s), _log(kinetics.a2_per_s)]).reshape(2, 1, 1)
        self._log_a = log_a if factors is None else log_a + np.log(factors)[:, None]
        e_over_r = np.array([-kinetics.e1_j_mol, -kinetics.e2_j_mol]) / GAS_CONSTANT_J_MOLK
        self._e_over_r = e_over_r.reshape(2, 1, 1)
        self._ks = np.empty((2, lanes, cells))
        self._k1, self._k2 = self._ks
        self._a, self._left, self._brake = (np.empty((lanes, cells)) for _ in range(3))

    def rate(self, temp_k: Array, conversion: Array, out: Array) -> Array:
        """Write the rate of conversion, 1/s, into `out` and return it."""
        k, left = self._k, self._left
        self._constants(temp_k, conversion)
        k1, k2 = self._k1, self._k2
        np.multiply(k2, self._powered(), k2)
        np.add(k1, k2, out)
        np.power(left, k.n, left)
        np.multiply(out, left, out)
        if k.brake_c:
            np.divide(out, self._braked(temp_k), out)
        return out

    def slopes(self, temp_k: Array, conversion: Array) -> tuple[Array, Array]:
        """Return the slopes of the rate with temperature (1/(s K)) and conversion (1/s)."""
        k = self._k
        self._constants(temp_k, conversion)
        k1, k2 = self._ks[0].copy(), self._ks[1] * self._powered()
        left, a = self._left, np.maximum(self._a, 1e-12)
        whole = left**k.n
        grow = (k1 + k2) * whole
        by_temp = -(self._e_over_r[0] * k1 + self._e_over_r[1] * k2) * whole / temp_k**2
        by_conversion = k2 * k.m / a * whole - k.n * grow / np.maximum(left, 1e-12)
        if k.brake_c:
            brake = self._braked(temp_k)
            pull = grow / brake * (1 - 1 / brake) * k.brake_c
            by_temp = by_temp / brake + pull * k.brake_act_per_k
            by_conversion = by_conversion / brake - pull
        return by_temp, by_conversion

    def _constants(self, temp_k: Array, conversion: Array) -> None:
        ks, a, left = self._ks, self._a, self._left
        np.divide(self._e_over_r, temp_k, ks)
        np.add(ks, self._log_a, ks)
        np.exp(ks, ks)
        # A stiff solver may try a step outside 0..1, where powers of a negative have no value.
        np.maximum(conversion, 0.0, out=a)
        np.subtract(1.0, a, left)
        np.maximum(left, 0.0, out=left)

    def _powered(self) -> Array:
        return self._a if self._k.m == 1.0 else self._a**self._k.m

    def _braked(self, temp_k: Array) -> Array:
        k, b = self._k, self._brake
        np.multiply(temp_k, -k.brake_act_per_k, b)
        np.add(b, self._a, b)
        np.subtract(b, k.brake_ac0, b)
        np.multiply(b, k.brake_c, b)
        np.minimum(b, _MOST_EXPONENT, out=b)
        np.exp(b, b)
        return np.add(b, 1.0, b)


def rate_at(kinetics: Kinetics, temp_c: float, conversion: float) -> float:
    """Return the rate of conversion at one temperature and conversion, 1/s."""
    temp_k = temp_c + KELVIN
    rt = GAS_CONSTANT_J_MOLK * temp_k
    a = min(max(conversion, 0.0), 1.0)
    k1 = kinetics.a1_per_s * math.exp(-kinetics.e1_j_mol / rt)
    k2 = kinetics.a2_per_s * math.exp(-kinetics.e2_j_mol / rt)
    grow = float((k1 + k2 * a**kinetics.m) * (1 - a) ** kinetics.n)
    if not kinetics.brake_c:
        return grow
    stalled = a - kinetics.brake_ac0 - kinetics.brake_act_per_k * temp_k
    return grow / (1 + math.exp(min(kinetics.brake_c * stalled, _MOST_EXPONENT)))


def time_to_conversion_s(rate: Callable[[float], float], start: float, end: float) -> float:
    r"""
    Return the time in which a rate law carries the conversion from `start` to `end`.

    Parameters
    ----------
    rate : callable
        Rate of conversion, 1/s, as a function of conversion alone (so along one temperature
        path that is itself a function of conversion: isothermal, or adiabatic).
    start, end : float
        Conversions, 0 to 1.

    Returns
    -------
    float
        :math:`\int_{start}^{end} d\alpha / r(\alpha)`, s; infinite when the law stalls on the way.

    Raises
    ------
    ValueError
        If the conversions lie outside 0..1 or fall.
    """
    from scipy.integrate import quad

    require.within(0.0, 1.0, start=start, end=end)
    if end < start:
        raise ValueError(f"end is {end:g}, below start, {start:g}; conversion does not fall")
    if min(rate(start), rate(end)) <= 0:
        return math.inf
    seconds = quad(lambda a: 1 / rate(a), start, end, epsabs=0.0, epsrel=1e-9, limit=400)[0]
    return float(seconds)


def isothermal_time_min(kinetics: Kinetics, temp_c: float, conversion: float) -> float:
    """
    Return the time at one temperature to a conversion, min; infinite when it is never reached.

    Examples
    --------
    >>> demo = Kinetics(1.9324e4, 52e3, 4599.5, 50e3, m=1.0, n=1.8)
    >>> round(isothermal_time_min(demo, 25.0, 0.05), 2)
    57.4
    """
    require.temperature(temp_c=temp_c)
    seconds = time_to_conversion_s(
        lambda a: rate_at(kinetics, temp_c, a), kinetics.start_conversion, conversion
    )
    return seconds / 60


def conversion_along(
    kinetics: Kinetics, times_s: Sequence[float], temps_c: Sequence[float], start: float = 0.0
) -> Array:
    """
    Return the conversion at each reading of a temperature record.

    Parameters
    ----------
    kinetics : Kinetics
        The rate law.
    times_s : sequence of float, shape (n,)
        Rising clock readings, s.
    temps_c : sequence of float, shape (n,)
        Temperatures, C, taken as linear in between.
    start : float
        Conversion at the first reading; raised to the law's own start where that is higher.

    Returns
    -------
    numpy.ndarray of float, shape (n,)
        Conversion, 0 to 1.

    Raises
    ------
    ValueError
        If the lengths differ or are 0.
    """
    if len(times_s) != len(temps_c) or not len(times_s):
        raise ValueError(
            f"the record has {len(times_s)} times and {len(temps_c)} temperatures; it needs as "
            "many of each, at least one"
        )
    if len(times_s) == 1:
        return np.array([max(start, kinetics.start_conversion)])
    from scipy.integrate import odeint

    clock, temps = np.asarray(times_s, dtype=float), np.asarray(temps_c, dtype=float)

    def slope(y: Array, t: float) -> float:
        return rate_at(kinetics, float(np.interp(t, clock, temps)), float(y[0]))

    first = max(start, kinetics.start_conversion)
    # The longest step is held to the record's own step, or a short hot spell could be leapt over.
    longest = float(np.max(np.diff(clock)))
    out = odeint(slope, [first], clock, rtol=1e-7, atol=1e-9, hmax=longest, mxstep=50_000)
    conversions: Array = np.clip(out[:, 0], 0.0, 1.0)
    return conversions


def gel_conversion(amine_hydrogens: float, epoxides: float, minor_to_major: float = 1.0) -> float:
    """
    Return the conversion of the minority group at gel, equal reactivity and no rings.

    ``1 / sqrt(r (f-1)(g-1))``, Flory and Stockmayer (from memory). Rings delay it.

    Examples
    --------
    >>> round(gel_conversion(4, 2), 4)
    0.5774
    """
    require.within(0.0, 1.0, minor_to_major=minor_to_major)
    require.positive(minor_to_major=minor_to_major)
    product = minor_to_major * (amine_hydrogens - 1) * (epoxides - 1)
    if product <= 1:
        raise ValueError(
            f"{amine_hydrogens:g} hydrogens and {epoxides:g} epoxides at ratio {minor_to_major:g} "
            "make no network; the product r (f-1)(g-1) must be above 1"
        )
    return float(product**-0.5)


def heat_of_cure_j_g(
    epoxide_equivalent_g: float, amine_equivalent_g: float, heat_kj_per_epoxide: float = 105.0
) -> float:
    """Return the heat of a stoichiometric mix, J/g; 100-110 kJ per epoxide is usual (memory)."""
    require.positive(
        epoxide_equivalent_g=epoxide_equivalent_g,
        amine_equivalent_g=amine_equivalent_g,
        heat_kj_per_epoxide=heat_kj_per_epoxide,
    )
    return 1000 * heat_kj_per_epoxide / (epoxide_equivalent_g + amine_equivalent_g)


def glass_transition_c(glass: GlassTransition, conversion: float) -> float:
    """Return Tg at a conversion, C: ``Tg0 + (Tg1 - Tg0) lam a / (1 - (1 - lam) a)``."""
    require.within(0.0, 1.0, conversion=conversion)
    share = glass.lam * conversion / (1 - (1 - glass.lam) * conversion)
    return glass.uncured_c + (glass.cured_c - glass.uncured_c) * share


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf
