"""Clocks of a poured lift whose system has kinetics: model and readings together."""

import itertools
from dataclasses import replace

import pytest

from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import OvenStay, PouredLift, Reading
from planning.core.casting.exotherm import lift_temps_c, solve_lift
from planning.core.casting.faces import tool_side
from planning.core.casting.gaps import lift_window
from planning.core.casting.kinetics import isothermal_time_min
from planning.core.casting.system import GlassTransition
from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO, SHEET

SYSTEM = replace(
    DEMO, glass=GlassTransition(-20.0, 88.0, 0.45), demould_conversion=0.70,
    bond_conversion=0.75, peak_cap_c=80.0,
)  # fmt: skip
LIFT = PouredLift(SYSTEM, 55.0, BOARD, AIR, 0.0, 22.0, night_c=12.0, mix_c=22.0)
EARLIER = 2 / 60
NAMES = ("peak", "opens", "closes", "demould", "cured")


def logged(where, height_mm, until_h, every_h=0.25, lift=LIFT):
    """The model's own curve as a log."""
    hours = [i * every_h for i in range(1, int(until_h / every_h) + 1)]
    temps = lift_temps_c(
        lift.system,
        lift.depth_mm,
        lift.expected_c,
        lift.base,
        lift.top,
        height_mm,
        hours,
        cells=60,
    )
    return tuple(Reading(h, float(t), where, height_mm) for h, t in zip(hours, temps, strict=True))


def aired(temp_c, until_h):
    return tuple(Reading(float(h), temp_c, "air") for h in range(int(until_h) + 1))


def test_without_readings_best_is_what_the_workbench_computes():
    clocks = clocks_of(LIFT)
    curve = solve_lift(SYSTEM, 55.0, 22.0, BOARD, AIR)
    window = lift_window(SYSTEM, 55.0, 22.0, BOARD, AIR)
    assert clocks.peak.best_h == pytest.approx(curve.peak_h, abs=EARLIER)
    assert clocks.peak_c == pytest.approx(curve.peak_c, abs=0.1)
    assert clocks.opens.best_h == pytest.approx(window.opens_h.value, abs=2 * EARLIER)
    # The plan tells it half a cell below the face, where it comes a little sooner.
    assert 0 <= clocks.closes.best_h - window.closes_h.value < 0.01 * window.closes_h.value
    assert clocks.ranged
    assert clocks.asks == ("air", "core")


@pytest.mark.parametrize(("depth_mm", "tool"), [(55.0, "board"), (30.0, "foam"), (80.0, "metal")])
@pytest.mark.parametrize("until_h", [6.0, 24.0])
def test_exact_curve_fed_back_moves_best_by_two_minutes_at_most(depth_mm, tool, until_h):
    lift = replace(LIFT, depth_mm=depth_mm, base=tool_side(tool))
    before = clocks_of(lift)
    log = logged("core", depth_mm / 2, until_h, lift=lift)
    for readings in (log, (*log, *aired(22.0, until_h))):
        after = clocks_of(replace(lift, readings=readings, now_h=until_h))
        for name in NAMES:
            best, was = getattr(after, name).best_h, getattr(before, name).best_h
            assert best == pytest.approx(was, abs=2 / 60), name
        for name in ("opens", "demould", "cured"):
            clock = getattr(after, name)
            assert clock.go_h >= clock.best_h
        assert after.closes.go_h <= after.closes.best_h


def test_own_heat_counts_only_once_a_sensor_has_seen_it():
    aired_only = clocks_of(replace(LIFT, readings=aired(22.0, 12.0), now_h=12.0))
    seen = clocks_of(replace(
        LIFT, readings=(*aired(22.0, 12.0), *logged("core", 27.5, 12.0)), now_h=12.0
    ))  # fmt: skip
    assert not aired_only.own_heat_counts
    assert seen.own_heat_counts
    assert aired_only.demould.go_h > seen.demould.go_h + 5


@pytest.mark.parametrize(("depth_mm", "tool"), [(55.0, "board"), (71.0, "foam")])
def test_with_air_alone_nothing_opens_before_resin_without_heat_of_its_own(depth_mm, tool):
    """A lift that is likely to run hot may be cool after all until a sensor has seen its heat."""
    lift = replace(LIFT, depth_mm=depth_mm, base=tool_side(tool))
    clocks = clocks_of(replace(lift, readings=aired(22.0, 12.0), now_h=12.0))
    cold_h, cold_gel_h = (
        isothermal_time_min(SYSTEM.kinetics, 22.0, conversion) / 60
        for conversion in (SYSTEM.demould_conversion, SYSTEM.gel_conversion)
    )
    assert clocks.cured.best_h < 0.4 * cold_h, "as it likely is"
    assert clocks.demould.go_h >= clocks.cured.go_h >= cold_h - 0.05
    assert clocks.opens.go_h >= cold_gel_h - 0.05


def test_lift_that_stayed_cool_is_not_promised_warm():
    cool = tuple(Reading(float(h), 22.0, "core", 27.5) for h in range(1, 13))
    clocks = clocks_of(replace(LIFT, readings=(*aired(22.0, 12.0), *cool), now_h=12.0))
    assert not clocks.own_heat_counts
    assert clocks.demould.go_h > clocks_of(LIFT).demould.best_h + 5


@pytest.mark.parametrize("where", ["air", "core"])
def test_fahrenheit_typed_as_celsius_opens_nothing(where):
    readings = (*aired(22.0, 10.0), *logged("core", 27.5, 10.0, 1.0))
    honest = clocks_of(replace(LIFT, readings=readings, now_h=10.0))
    slip = Reading(9.5, 77.0, where, 27.5 if where == "core" else None)
    slipped = clocks_of(replace(LIFT, readings=(*readings, slip), now_h=10.0))
    for name in ("opens", "demould", "cured", "peak"):
        was, now = getattr(honest, name), getattr(slipped, name)
        assert now.go_h > was.go_h - 0.02 * was.go_h
        assert now.is_open(10.0) == was.is_open(10.0)
    assert slipped.closes.go_h <= honest.closes.go_h * 1.02


def test_order_of_entry_and_late_entry_never_matter():
    readings = (*aired(22.0, 5.0), *logged("core", 27.5, 6.0, 2.0))
    clocks = [
        clocks_of(replace(LIFT, readings=tuple(order), now_h=9.0))
        for order in itertools.islice(itertools.permutations(readings), 0, 300_000, 90_000)
    ]
    assert len(clocks) > 1
    assert all(one == clocks[0] for one in clocks)


def test_hole_counts_as_the_night_unless_the_body_was_watched():
    air = tuple(Reading(float(h), 22.0, "air") for h in (0, 1, 2, 14))
    watched = logged("core", 27.5, 14.0)
    early = tuple(r for r in watched if r.hour < 4)
    blind = clocks_of(replace(LIFT, readings=(*air, *early), now_h=14.0))
    seen = clocks_of(replace(LIFT, readings=(*air, *watched), now_h=14.0))
    assert [(h.from_h, h.to_h) for h in blind.holes] == [(2.0, 14.0)]
    assert blind.demould.go_h > seen.demould.go_h + 3


def test_cooling_is_asked_as_well_as_cure():
    deep = replace(LIFT, depth_mm=80.0, base=tool_side("foam"))
    clocks = clocks_of(deep)
    assert clocks.demould.best_h > clocks.cured.best_h + 2
    strict = replace(deep, margins=replace(deep.margins, hand_safe_c=30.0))
    assert clocks_of(strict).demould.best_h > clocks.demould.best_h + 1


def test_a_warm_room_is_waited_for_until_glass_transition_lies_above_it():
    """By hand: 5 K above 32 °C the glass transition is at a conversion of 0.713, not 0.70."""
    thin = replace(
        LIFT, depth_mm=20.0, base=tool_side("metal"), expected_c=32.0, mix_c=32.0, night_c=32.0
    )
    clocks = clocks_of(thin)
    cured_h, hard_h = (
        isothermal_time_min(SYSTEM.kinetics, 32.0, conversion) / 60 for conversion in (0.70, 0.713)
    )
    waits_h = clocks.demould.best_h - clocks.cured.best_h
    assert 0.98 < waits_h / (hard_h - cured_h) < 1.25, "its last heat is still in it"
    assert clocks.demould.go_h > clocks.cured.go_h
    without = replace(thin, margins=replace(thin.margins, glass_margin_k=0.0))
    assert clocks_of(without).demould.best_h == clocks.cured.best_h


def test_hot_oven_is_left_before_anything_is_demoulded():
    inside = replace(LIFT, stays=(OvenStay(6.0, 60.0),), now_h=20.0)
    clocks = clocks_of(inside)
    assert clocks.in_oven
    assert clocks.demould.go_h is None
    assert not clocks.demould.stalled
    assert clocks.asks[0] == "out of oven"
    assert clocks.cured.go_h is not None
    out = clocks_of(replace(inside, stays=(OvenStay(6.0, 60.0, 20.0),)))
    assert out.demould.best_h > 20.5
    # The sheet's side of the demoulding time and the cooling both come after the oven.
    assert out.demould.go_h >= out.demould.best_h


def test_cold_room_stalls_and_says_so():
    cold = replace(LIFT, expected_c=-15.0, night_c=-15.0, mix_c=-15.0)
    clocks = clocks_of(cold)
    assert clocks.demould.stalled
    assert clocks.demould.go_h is None
    assert clocks.ranged


def test_never_earlier_than_the_sheet_shifted_by_the_room_really_logged():
    printed = replace(SYSTEM, datasheet=SHEET, e_j_mol=60e3)
    readings = (*aired(16.0, 30.0), *logged("core", 27.5, 30.0))
    clocks = clocks_of(replace(LIFT, system=printed, readings=readings, now_h=30.0))
    assert clocks.demould.basis == "datasheet"
    assert clocks.demould.go_h > 24.0 * 1.7  # 24 h at 23 C are 42.2 h at 16 C by 60 kJ/mol
    assert clocks.closes.go_h <= 12.0 * 1.8


def test_unknown_side_of_the_tool_shortens_the_window():
    known, unknown = (clocks_of(replace(LIFT, base_known=k)) for k in (True, False))
    assert unknown.closes.go_h < known.closes.go_h


def test_kinetics_far_outside_their_records_are_trusted_less():
    warm = replace(
        SYSTEM, kinetics=replace(SYSTEM.kinetics, fitted_from_c=60.0, fitted_to_c=110.0)
    )
    unwatched = replace(LIFT, readings=aired(22.0, 2.0), now_h=2.0, calibrated=True)
    near, far = clocks_of(unwatched), clocks_of(replace(unwatched, system=warm))
    assert far.demould.best_h == pytest.approx(near.demould.best_h, abs=1e-3)
    assert far.demould.go_h > near.demould.go_h
    assert far.closes.go_h < near.closes.go_h
