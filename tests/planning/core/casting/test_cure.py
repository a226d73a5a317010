"""Cure clock and post-cure."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planning.core.casting.arrhenius import USUAL_E_J_MOL, shift_time
from planning.core.casting.cure import PostCureStep, cure_clock, demould_min, post_cure
from planning.core.casting.kinetics import isothermal_time_min, rate_at
from planning.core.casting.system import Datasheet, GlassTransition, SystemData, TimePoint
from tests.planning.core.casting.demo_resin import BOTH, DEMO, KINETICS, SHEET_ONLY

GLASS = GlassTransition(uncured_c=-20.0, cured_c=95.0, lam=0.45)


def test_24_h_at_25_c_takes_40_h_at_18_c():
    """Row P072: the form used for concrete maturity."""
    sheet = Datasheet(demould=TimePoint(1440.0, 25.0))
    day = SystemData("one day", datasheet=sheet, e_j_mol=USUAL_E_J_MOL)
    clock = cure_clock(day, [0.0], [18.0], 18.0)
    assert clock.due_h.value == pytest.approx(40.109, abs=2e-3)
    # Of an energy never measured the slower of the careful pair counts, 73 kJ/mol in the cold.
    unmeasured = cure_clock(replace(day, e_j_mol=None), [0.0], [18.0], 18.0)
    assert unmeasured.due_h.value == pytest.approx(shift_time(24.0, 25.0, 18.0, 73e3))
    assert clock.due_h.basis == "datasheet"
    assert (clock.age_h, clock.need_h) == (0.0, 24.0)


def test_due_time_moves_as_the_record_grows():
    expected = cure_clock(SHEET_ONLY, [0.0], [20.0], 20.0).due_h.value
    cold_night = cure_clock(SHEET_ONLY, [0.0, 6.0, 12.0], [20.0, 14.0, 14.0], 20.0).due_h.value
    warm_night = cure_clock(SHEET_ONLY, [0.0, 6.0, 12.0], [20.0, 26.0, 26.0], 20.0).due_h.value
    assert warm_night < expected < cold_night


def test_due_inside_the_record_is_in_the_past_of_its_end():
    clock = cure_clock(SHEET_ONLY, [0.0, 48.0], [23.0, 23.0], 10.0)
    assert clock.due_h.value == pytest.approx(24.0)
    assert clock.age_h == pytest.approx(48.0)


def test_kinetic_clock_asks_for_what_the_datasheet_time_implies():
    clock = cure_clock(BOTH, [0.0], [23.0], 23.0)
    assert clock.due_h.computed == pytest.approx(24.0, rel=1e-4)
    assert clock.due_h.value == max(clock.due_h.datasheet, clock.due_h.computed)
    stated = replace(BOTH, demould_conversion=0.7)
    assert cure_clock(stated, [0.0], [23.0], 23.0).need_conversion == 0.7


def test_conversion_along_a_record_agrees_with_an_independent_integration():
    hours, temps = [0.0, 5.0, 9.0, 20.0], [22.0, 40.0, 35.0, 18.0]
    stated = replace(DEMO, demould_conversion=0.8)
    got = cure_clock(stated, hours, temps, 18.0).conversion

    def slope(t, y):
        h = t / 3600
        i = next(i for i in range(1, 4) if h <= hours[i] + 1e-9)
        share = (h - hours[i - 1]) / (hours[i] - hours[i - 1])
        return [rate_at(KINETICS, temps[i - 1] + share * (temps[i] - temps[i - 1]), y[0])]

    path = solve_ivp(slope, (0, 72_000), [0.0], method="Radau", rtol=1e-8, max_step=600)
    assert got == pytest.approx(path.y[0, -1], rel=1e-4)


@pytest.mark.parametrize("gap_h", [12.0, 20.0])
@pytest.mark.parametrize("swing_k", [0.0, 6.0], ids=["steady", "warmer, then colder"])
def test_due_by_kinetics_does_not_depend_on_how_often_a_temperature_was_read(gap_h, swing_k):
    """The same straight lines, read at their ends alone and every ten minutes."""
    stated = replace(DEMO, demould_conversion=0.7)
    ends = [n * gap_h for n in range(6)]
    temps = [22.0 + (swing_k if n % 2 else 0.0) for n in range(6)]
    often = [n / 6 for n in range(int(6 * ends[-1]) + 1)]
    rare = cure_clock(stated, ends, temps, 22.0)
    dense = cure_clock(stated, often, np.interp(often, ends, temps).tolist(), 22.0)
    assert gap_h < dense.due_h.value < ends[-1]
    assert rare.due_h.value == pytest.approx(dense.due_h.value, abs=0.02)
    assert rare.conversion == pytest.approx(dense.conversion, abs=1e-3)


def test_stalled_cure_is_said_and_beats_the_datasheet_time():
    needs_heat = replace(BOTH, demould_conversion=0.97)
    clock = cure_clock(needs_heat, [0.0], [15.0], 15.0)
    assert clock.stalls
    assert clock.due_h.value is None
    assert clock.due_h.basis == "computed"
    assert clock.due_h.datasheet is not None


def test_demould_without_any_data_is_unknown():
    assert demould_min(SystemData("blank"), 20.0).basis == "unknown"


def test_demould_in_minutes_is_the_clock_in_hours():
    assert demould_min(SHEET_ONLY, 23.0).value == pytest.approx(1440.0)


def test_post_cure_lays_ramps_and_soaks_end_to_end():
    # By hand: 23 to 50 C at 10 C/h is 2.7 h, 4 h soak, 50 to 80 at 10 is 3 h, 6 h soak.
    steps = [PostCureStep(50.0, 10.0, 240.0), PostCureStep(80.0, 10.0, 360.0)]
    plan = post_cure(SHEET_ONLY, steps, start_h=24.0)
    assert [s.kind for s in plan.stages] == ["ramp", "soak", "ramp", "soak"]
    assert [s.to_h for s in plan.stages] == pytest.approx([26.7, 30.7, 33.7, 39.7])
    assert plan.ends_h == pytest.approx(39.7)
    assert plan.tg_c is None


def test_post_cure_raises_tg_to_the_service_temperature_or_says_not():
    system = replace(DEMO, glass=GLASS, service_c=70.0)
    mild = post_cure(system, [PostCureStep(40.0, 10.0, 120.0)], start_conversion=0.75)
    full = post_cure(
        system, [PostCureStep(50.0, 10.0, 240.0), PostCureStep(80.0, 10.0, 480.0)],
        start_conversion=0.75,
    )  # fmt: skip
    assert mild.service_ok is False
    assert full.service_ok is True
    assert full.tg_c > mild.tg_c
    assert full.conversion <= 1.0


def test_oven_run_up_too_fast_softens_the_casting():
    system = replace(DEMO, glass=GLASS)
    rash = post_cure(system, [PostCureStep(100.0, 200.0, 60.0)], start_conversion=0.6)
    gentle = post_cure(system, [PostCureStep(40.0, 3.0, 600.0)], start_conversion=0.75)
    assert rash.softens_at_h is not None
    assert rash.softens_at_h < 0.5
    assert gentle.softens_at_h is None


def test_isothermal_soak_ends_at_the_conversion_of_the_isothermal_clock():
    system = replace(DEMO, glass=GLASS)
    minutes = isothermal_time_min(KINETICS, 60.0, 0.8)
    soaked = post_cure(system, [PostCureStep(60.0, 1e6, minutes)], start_c=60.0)
    assert soaked.conversion == pytest.approx(0.8, abs=1e-4)


@pytest.mark.parametrize(("call", "said"), [
    (lambda: cure_clock(DEMO, [0.0, 0.0], [20.0, 20.0], 20.0), "not after 0"),
    (lambda: cure_clock(SHEET_ONLY, [], [], 20.0), "0 times"),
    (lambda: post_cure(DEMO, []), "at least one step"),
    (lambda: post_cure(DEMO, [PostCureStep(23.0, 10.0, 0.0)]), "lasts 0 min"),
    (lambda: PostCureStep(900.0, 10.0, 60.0), "to_c is 900; it must lie in -50 to 300"),
    (lambda: PostCureStep(60.0, 0.0, 60.0), "rate_c_h is 0"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(call, said):
    with pytest.raises(ValueError, match=said):
        call()
