"""Arrhenius times and equivalent age against quadrature and by hand."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from planning.core.casting.arrhenius import (
    activation_energy_j_mol,
    equivalent_age,
    halving_rule_time,
    shift_time,
    time_at_age,
)

R, E = 8.314462618, 52_950.0


def age_by_quadrature(times, temps, ref_c, e):
    """SciPy quadrature of the same integrand, interval by interval."""

    def rate(t, i):
        share = (t - times[i]) / (times[i + 1] - times[i])
        kelvin = temps[i] + share * (temps[i + 1] - temps[i]) + 273.15
        return math.exp(e / R * (1 / (ref_c + 273.15) - 1 / kelvin))

    return sum(
        quad(rate, times[i], times[i + 1], args=(i,), epsabs=0, epsrel=1e-12)[0]
        for i in range(len(times) - 1)
    )


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.01, 50), st.floats(-5, 90)), min_size=1, max_size=8),
    st.floats(10, 40), st.floats(30e3, 90e3),
)  # fmt: skip
def test_equivalent_age_agrees_with_quadrature(steps, ref_c, e):
    times, temps = [0.0], [20.0]
    for hours, temp_c in steps:
        times.append(times[-1] + hours)
        temps.append(temp_c)
    expected = age_by_quadrature(times, temps, ref_c, e)
    assert equivalent_age(times, temps, ref_c, e)[-1] == pytest.approx(expected, rel=1e-4)


@settings(deadline=None)
@given(st.floats(0.05, 40), st.floats(5, 35))
def test_clock_time_at_an_age_has_that_age(need, then_c):
    times, temps = [0.0, 3.0, 9.0, 20.0], [25.0, 32.0, 18.0, 16.0]
    due = time_at_age(need, times, temps, then_c, 25.0, E)
    if due <= times[-1]:
        i = max(j for j, t in enumerate(times) if t <= due)
        share = 0 if due == times[i] else (due - times[i]) / (times[i + 1] - times[i])
        there = temps[i] + share * (temps[min(i + 1, 3)] - temps[i])
        record = ([*times[: i + 1], due], [*temps[: i + 1], there])
        if due == times[i]:
            record = (times[: i + 1], temps[: i + 1])
    else:
        record = ([*times, times[-1] + 1e-9, due], [*temps, then_c, then_c])
    assert equivalent_age(*record, 25.0, E)[-1] == pytest.approx(need, rel=1e-4)


def test_age_at_reference_temperature_is_the_clock():
    assert equivalent_age([0.0, 8.0, 24.0], [25.0] * 3, 25.0, E) == pytest.approx((0, 8, 24))


def test_shift_and_back_is_the_time():
    assert shift_time(shift_time(60.0, 25.0, 17.0), 17.0, 25.0) == pytest.approx(60.0)


def test_halving_rule_and_its_own_energy_agree_over_ten_degrees():
    e = activation_energy_j_mol(2.0, 25.0, 35.0)
    assert shift_time(60.0, 25.0, 35.0, e) == pytest.approx(halving_rule_time(60.0, 25.0, 35.0))


def test_need_already_reached_in_the_record_is_found_inside_it():
    due = time_at_age(2.0, [0.0, 10.0], [25.0, 25.0], 15.0, 25.0, E)
    assert due == pytest.approx(2.0, rel=1e-9)
    assert time_at_age(0.0, [3.0, 10.0], [25.0, 25.0], 15.0, 25.0, E) == 3.0


@pytest.mark.parametrize(("call", "said"), [
    (lambda: equivalent_age([], [], 25.0), "0 times and 0 temperatures"),
    (lambda: equivalent_age([0.0, 1.0], [20.0], 25.0), "2 times and 1 temperatures"),
    (lambda: equivalent_age([0.0, 1.0, 1.0], [20.0] * 3, 25.0), "reading 3 is 1, not after 1"),
    (lambda: equivalent_age([0.0, 1.0], [20.0, math.nan], 25.0), "reading 2 is nan"),
    (lambda: shift_time(-1.0, 25.0, 20.0), "time is -1"),
    (lambda: shift_time(1.0, 25.0, -280.0), "to_c is -280 C"),
    (lambda: shift_time(1.0, 25.0, 20.0, 0.0), "e_j_mol is 0"),
    (lambda: activation_energy_j_mol(2.0, 25.0, 25.0), "the same as at_c"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(call, said):
    with pytest.raises(ValueError, match=said):
        call()
