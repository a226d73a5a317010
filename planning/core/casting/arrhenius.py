"""One activation energy: shifting a time to another temperature, and equivalent age."""

from __future__ import annotations

import math
from collections.abc import Sequence

from planning.core.casting import require

GAS_CONSTANT_J_MOLK = 8.314462618
"""CODATA 2018, exact since the SI of 2019 (from memory)."""

KELVIN = 273.15

USUAL_E_J_MOL = 52_950.0
"""Halves a time for every 10 C between 25 and 35 C. Common practice for amine-cured epoxy."""

CAREFUL_E_J_MOL = (46_000.0, 73_000.0)
"""A pair that spans what was measured on epoxies, for a system whose own was not: of the two the
one that gives the stricter time holds. 46: a filled grout's printed pot lives, 30 to 40 C; 73: a
bisphenol epoxy with an anhydride, calorimetry. Gel times with a cycloaliphatic diamine gave 58.5,
an epoxy with a cold hardener 59.8, with an aromatic diamine 63.6 to 70.7. See SOURCES_physics."""


def shift_time(time: float, at_c: float, to_c: float, e_j_mol: float = USUAL_E_J_MOL) -> float:
    r"""
    Return how long at `to_c` a process takes that takes `time` at `at_c`.

    Parameters
    ----------
    time : float
        Any unit; the answer has the same.
    at_c, to_c : float
        Temperatures, C.
    e_j_mol : float
        Activation energy, J/mol.

    Returns
    -------
    float
        :math:`t\,\exp[E/R\,(1/T_2 - 1/T_1)]`, T in kelvin.

    Raises
    ------
    ValueError
        If `time` is negative, `e_j_mol` is not positive or a temperature is below absolute zero.

    References
    ----------
    .. [1] Arrhenius form; rows P066-P068 of the reference cases. Basis: computed here. That the
       time halves for 18 F is printed on an epoxy supplier's advice page.

    Examples
    --------
    >>> round(shift_time(60.0, 25.0, 18.0), 2)
    100.27
    """
    require.not_negative(time=time)
    require.temperature(at_c=at_c, to_c=to_c)
    require.positive(e_j_mol=e_j_mol)
    exponent = e_j_mol / GAS_CONSTANT_J_MOLK * (1 / (to_c + KELVIN) - 1 / (at_c + KELVIN))
    return time * math.exp(exponent)


def shift_range(
    time: float, at_c: float, to_c: float, energies_j_mol: Sequence[float]
) -> tuple[float, float]:
    """
    Return the shortest and the longest of a time shifted by each of several activation energies.

    Of a system whose own energy was never measured the careful pair is asked: work that must be
    over before goes by the shortest, waiting by the longest.

    Examples
    --------
    >>> [round(t, 1) for t in shift_range(60.0, 25.0, 35.0, CAREFUL_E_J_MOL)]
    [23.1, 32.9]
    """
    times = [shift_time(time, at_c, to_c, e) for e in energies_j_mol]
    return min(times), max(times)


def halving_rule_time(time: float, at_c: float, to_c: float) -> float:
    """
    Shift a time by the workshop rule that it halves for every 10 C.

    Common practice, no source beyond an advice page; `shift_time` with `USUAL_E_J_MOL` agrees
    with it exactly between 25 and 35 C and is preferred elsewhere.
    """
    require.not_negative(time=time)
    require.temperature(at_c=at_c, to_c=to_c)
    return float(time * 2.0 ** ((at_c - to_c) / 10.0))


def activation_energy_j_mol(factor: float, at_c: float, to_c: float) -> float:
    """
    Return the activation energy for which times shrink by `factor` from `at_c` to `to_c`.

    Raises
    ------
    ValueError
        If `factor` is not positive or the temperatures are equal.

    Examples
    --------
    >>> round(activation_energy_j_mol(2.0, 25.0, 35.0))
    52949
    """
    require.positive(factor=factor)
    require.temperature(at_c=at_c, to_c=to_c)
    if at_c == to_c:
        raise ValueError(f"to_c is {to_c:g} C, the same as at_c; two temperatures are needed")
    return GAS_CONSTANT_J_MOLK * math.log(factor) / (1 / (at_c + KELVIN) - 1 / (to_c + KELVIN))


def speed(temp_c: float, reference_c: float, e_j_mol: float) -> float:
    """Return the rate at `temp_c` over the rate at `reference_c`."""
    return math.exp(
        e_j_mol / GAS_CONSTANT_J_MOLK * (1 / (reference_c + KELVIN) - 1 / (temp_c + KELVIN))
    )


def equivalent_age(
    times: Sequence[float],
    temps_c: Sequence[float],
    reference_c: float,
    e_j_mol: float = USUAL_E_J_MOL,
) -> tuple[float, ...]:
    r"""
    Return the age at `reference_c` that does as much as the record so far, at every reading.

    Parameters
    ----------
    times : sequence of float, shape (n,)
        Clock readings in any unit, rising strictly; the first is the moment of pouring.
    temps_c : sequence of float, shape (n,)
        Temperatures read then, C. Between two readings the temperature is taken as linear.
    reference_c : float
        Reference temperature, C.
    e_j_mol : float
        Activation energy, J/mol.

    Returns
    -------
    tuple of float, shape (n,)
        :math:`\int \exp[E/R\,(1/T_{ref} - 1/T)]\,dt`, in the unit of `times`; the first is 0.

    Raises
    ------
    ValueError
        If the sequences differ in length, are empty or the times do not rise.

    Notes
    -----
    Composite Simpson inside every interval, in parts of at most 2 K. One activation energy and no
    stall by vitrification are assumed: a reminder time, not proof of cure.

    References
    ----------
    .. [1] The same form is used for concrete maturity: ASTM C1074; Carino, 1984 (index records
       read). Rows P070-P073 of the reference cases.

    Examples
    --------
    >>> [round(a, 2) for a in equivalent_age([0.0, 24.0], [18.0, 18.0], 25.0)]
    [0.0, 14.36]
    """
    _check_record(times, temps_c)
    require.temperature(reference_c=reference_c)
    require.positive(e_j_mol=e_j_mol)
    ages = [0.0]
    for i in range(1, len(times)):
        part = _age_of_ramp(
            times[i] - times[i - 1], temps_c[i - 1], temps_c[i], reference_c, e_j_mol
        )
        ages.append(ages[-1] + part)
    return tuple(ages)


def time_at_age(
    need: float,
    times: Sequence[float],
    temps_c: Sequence[float],
    then_c: float,
    reference_c: float,
    e_j_mol: float = USUAL_E_J_MOL,
) -> float:
    """
    Return the clock reading at which the equivalent age reaches `need`.

    Past the end of the record the temperature is taken to stay at `then_c`.

    Parameters
    ----------
    need : float
        Age wanted at `reference_c`, in the unit of `times`.
    times, temps_c : sequence of float, shape (n,)
        The record, as for `equivalent_age`.
    then_c : float
        Temperature expected after the last reading, C.
    reference_c, e_j_mol : float
        As for `equivalent_age`.

    Returns
    -------
    float
        Clock reading, on the same clock as `times`.

    Raises
    ------
    ValueError
        As for `equivalent_age`, or if `need` is negative.
    """
    require.not_negative(need=need)
    require.temperature(then_c=then_c)
    ages = equivalent_age(times, temps_c, reference_c, e_j_mol)
    if need > ages[-1]:
        return times[-1] + (need - ages[-1]) / speed(then_c, reference_c, e_j_mol)
    i = next(i for i, age in enumerate(ages) if age >= need)
    if i == 0:
        return times[0]
    return _crossing(need - ages[i - 1], times, temps_c, i, reference_c, e_j_mol)


def _crossing(
    need: float,
    times: Sequence[float],
    temps_c: Sequence[float],
    i: int,
    reference_c: float,
    e_j_mol: float,
) -> float:
    # Bisection: the age grows strictly within the interval, and 60 halvings exhaust a double.
    span, start_c = times[i] - times[i - 1], temps_c[i - 1]
    slope = (temps_c[i] - start_c) / span
    low, high = 0.0, span
    for _ in range(60):
        mid = (low + high) / 2
        if _age_of_ramp(mid, start_c, start_c + slope * mid, reference_c, e_j_mol) < need:
            low = mid
        else:
            high = mid
    return times[i - 1] + high


def _age_of_ramp(span: float, from_c: float, to_c: float, ref_c: float, e_j_mol: float) -> float:
    if from_c == to_c:
        return span * speed(from_c, ref_c, e_j_mol)
    parts = 2 * max(1, math.ceil(abs(to_c - from_c) / 4.0))
    step = (to_c - from_c) / parts
    rates = [speed(from_c + step * i, ref_c, e_j_mol) for i in range(parts + 1)]
    total = rates[0] + rates[-1] + 4 * sum(rates[1:-1:2]) + 2 * sum(rates[2:-1:2])
    return span * total / (3 * parts)


def _check_record(times: Sequence[float], temps_c: Sequence[float]) -> None:
    if not times or len(times) != len(temps_c):
        raise ValueError(
            f"the record has {len(times)} times and {len(temps_c)} temperatures; "
            "it needs at least one reading, each with both"
        )
    for i, (time, temp_c) in enumerate(zip(times, temps_c, strict=True)):
        require.finite(**{f"time of reading {i + 1}": time})
        require.temperature(**{f"temperature of reading {i + 1}": temp_c})
        if i and time <= times[i - 1]:
            raise ValueError(
                f"time of reading {i + 1} is {time:g}, not after {times[i - 1]:g}; times must rise"
            )
