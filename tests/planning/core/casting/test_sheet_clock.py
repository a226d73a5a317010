"""Clocks of a poured lift where only the data sheet is known."""

import itertools
import math
from dataclasses import replace

import pytest

from planning.core.casting.arrhenius import equivalent_age, shift_time
from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import OvenStay, Planned, PouredLift, Reading
from planning.core.casting.system import SystemData
from tests.planning.core.casting.demo_resin import AIR, BOARD, SHEET, SHEET_ONLY

LIFT = PouredLift(
    SHEET_ONLY, 50.0, BOARD, AIR, now_h=0.0, expected_c=23.0, night_c=12.0, mix_c=23.0
)


def seen(*rows, **changes):
    readings = tuple(Reading(*row) for row in rows)
    now = max((r.hour for r in readings), default=0.0)
    return replace(LIFT, **{"readings": readings, "now_h": now} | changes)


def hourly(temp_c, until_h, where="air"):
    return [(float(h), temp_c, where) for h in range(int(until_h) + 1)]


def test_at_the_reference_temperature_best_is_the_printed_time_and_go_the_stretched_one():
    clocks = clocks_of(LIFT)
    assert clocks.cured.best_h == pytest.approx(24.0)
    assert clocks.cured.go_h == pytest.approx(24.0 * 1.25)
    assert clocks.opens.best_h == pytest.approx(4.0)
    assert clocks.closes.best_h == pytest.approx(12.0)
    assert clocks.closes.go_h < 12.0 / 1.25 + 1e-9


@pytest.mark.parametrize(("room_c", "stricter"), [(15.0, 73_000.0), (33.0, 46_000.0)])
def test_careful_pair_gives_the_longer_wait_in_the_cold_and_in_the_warmth(room_c, stricter):
    lift = replace(LIFT, expected_c=room_c, night_c=room_c, mix_c=room_c)
    own = shift_time(24.0, 23.0, room_c, stricter)
    assert clocks_of(lift).cured.go_h == pytest.approx(1.25 * own, rel=1e-3)
    measured = replace(lift, system=replace(SHEET_ONLY, e_j_mol=60_000.0))
    expected = 1.25 * shift_time(24.0, 23.0, room_c, 60_000.0)
    assert clocks_of(measured).cured.go_h == pytest.approx(expected, rel=1e-3)


def test_record_agrees_with_equivalent_age():
    times = [float(h) for h in range(60)]
    temps = [20.0 + 3 * math.sin(h / 4) for h in times]
    lift = seen(*zip(times, temps, ["air"] * 60, strict=True))
    lift = replace(lift, system=replace(SHEET_ONLY, e_j_mol=52_950.0))
    ages = equivalent_age(times, temps, 23.0, 52_950.0)
    due = next(t for t, a in zip(times, ages, strict=True) if a >= 24.0)
    assert due - 1 < clocks_of(lift).cured.best_h <= due + 0.02


def test_own_heat_of_the_casting_never_moves_a_clock_earlier():
    air = hourly(22.0, 12)
    core = [(h, 22.0 + 40.0 * math.exp(-((h - 6.0) ** 2) / 8), "core") for h, *_ in air]
    with_core, without = clocks_of(seen(*air, *core)), clocks_of(seen(*air))
    for name in ("opens", "closes", "cured"):
        assert getattr(with_core, name) == getattr(without, name)
    assert with_core.peak_seen
    assert with_core.peak.best_h == 6.0
    assert 6.0 < with_core.peak.go_h <= 10.0


def test_sensor_fallen_out_shows_no_peak():
    air = hourly(22.0, 8)
    rising = [(float(h), 22.0 + 6.0 * h, "core") for h in range(5)]
    fallen = [(float(h), 22.0, "core") for h in range(5, 9)]
    assert not clocks_of(seen(*air, *rising, *fallen)).peak_seen


def test_hole_counts_as_the_night_and_is_told():
    bridged = seen((0.0, 23.0, "air"), (14.0, 23.0, "air"))
    clocks = clocks_of(bridged)
    (hole,) = clocks.holes
    assert (hole.from_h, hole.to_h, hole.counted_c) == (0.0, 14.0, 12.0)
    really = seen(*(
        (h / 2, 12.0 if 3 <= h / 2 <= 11 else 23.0, "air") for h in range(29)
    ))  # fmt: skip
    assert clocks.cured.go_h >= clocks_of(really).cured.go_h
    assert not clocks_of(seen(*hourly(23.0, 14))).holes


def test_not_looking_counts_as_a_hole_until_now():
    looked = clocks_of(seen(*hourly(23.0, 29), now_h=30.0))
    unlooked = clocks_of(seen(*hourly(23.0, 10), now_h=30.0))
    assert unlooked.cured.go_h > looked.cured.go_h + 2
    assert unlooked.holes[-1].to_h == 30.0


@pytest.mark.parametrize("temp_c", [77.0, 68.0, 50.0])
def test_fahrenheit_typed_as_celsius_opens_nothing(temp_c):
    honest = clocks_of(seen(*hourly(23.0, 12)))
    slipped = clocks_of(seen(*hourly(23.0, 12), (6.5, temp_c, "air")))
    assert slipped.implausible == (Reading(6.5, temp_c, "air"),)
    assert slipped.cured == honest.cured
    alone = clocks_of(seen((6.5, temp_c, "air")))
    assert alone.cured.go_h >= clocks_of(seen(now_h=6.5)).cured.go_h


def test_single_warm_spike_hardly_counts():
    honest = clocks_of(seen(*hourly(23.0, 12))).cured.go_h
    spiked = clocks_of(seen(*hourly(23.0, 12), (6.5, 45.0, "air"))).cured.go_h
    assert honest - 0.5 < spiked <= honest


def test_order_of_entry_never_matters():
    rows = [(0.0, 21.0, "air"), (3.0, 25.0, "air"), (3.0, 24.0, "air"), (4.0, 50.0, "core"),
            (4.0, 49.0, "surface")]  # fmt: skip
    answers = {clocks_of(seen(*order)) for order in itertools.permutations(rows)}
    assert len(answers) == 1


def test_warmth_counts_as_it_soaks_in_and_cold_at_once():
    """63 % of a change gets into 10 mm within an hour, into 80 mm within 11 h."""

    def cured_h(depth_mm, then_c):
        air = [(float(h), 23.0 if h < 3 else then_c, "air") for h in range(33)]
        return clocks_of(seen(*air, depth_mm=depth_mm)).cured.go_h

    assert cured_h(10.0, 33.0) + 4 < cured_h(80.0, 33.0) < cured_h(80.0, 23.0)
    assert cured_h(10.0, 15.0) == pytest.approx(cured_h(80.0, 15.0), rel=0.01)


def test_single_late_reading_leaves_the_clock_where_it_was():
    constant = seen((119.4, 23.0, "air"))
    late = clocks_of(constant)
    assert late.cured.best_h == pytest.approx(24.0, abs=0.2)
    assert late.cured.go_h < 119.4


def test_readings_after_now_are_not_known_yet():
    assert clocks_of(seen((5.0, 15.0, "air"), now_h=4.0)) == clocks_of(seen(now_h=4.0))


def test_demoulding_waits_for_a_cool_reading_taken_late_enough():
    air = hourly(23.0, 33)
    assert clocks_of(seen(*air)).needs_cool_reading
    assert clocks_of(seen(*air)).demould.go_h is None
    assert clocks_of(seen(*air, (1.0, 24.0, "core"))).demould.go_h is None
    assert clocks_of(seen(*air, (33.0, 50.0, "surface"))).demould.go_h is None
    cool = clocks_of(seen(*air, (33.0, 40.0, "surface")))
    assert cool.demould.go_h == 33.0
    assert cool.demould.is_open(33.0)


def test_oven_hastens_carefully_and_only_after_it_is_out_is_demoulding_asked():
    warm = replace(LIFT, now_h=16.0, stays=(OvenStay(0.0, 50.0),))
    inside = clocks_of(warm)
    assert inside.in_oven
    assert inside.asks[0] == "out of oven"
    assert inside.cured.best_h < 24.0
    assert inside.cured.go_h > 1.25 * shift_time(24.0, 23.0, 45.0, 46_000.0)
    cool = Reading(16.0, 40.0, "surface")
    assert clocks_of(replace(warm, readings=(cool,))).demould.go_h is None
    out = replace(warm, readings=(cool,), stays=(OvenStay(0.0, 50.0, 15.0),))
    assert clocks_of(out).demould.go_h is not None


def test_planned_times_serve_where_the_sheet_is_silent():
    silent = SystemData("silent", datasheet=replace(SHEET, least_gap=None, gel=None))
    planned = Planned(23.0, peak_h=6.0, opens_h=8.0, closes_h=10.0)
    clocks = clocks_of(replace(LIFT, system=silent, planned=planned))
    assert clocks.peak.basis == clocks.opens.basis == "planned"
    assert clocks.opens.go_h == pytest.approx(10.0)
    assert clocks.closes.go_h <= 8.0
    assert clocks_of(replace(LIFT, system=SystemData("blank"))).demould.basis == "unknown"


@pytest.mark.parametrize(("make", "words"), [
    (lambda: Reading(1.0, 20.0, "sky"), "where is 'sky'"),
    (lambda: Reading(math.nan, 20.0, "air"), "hour is nan"),
    (lambda: OvenStay(3.0, 40.0, 2.0), "out comes after in"),
    (lambda: replace(LIFT, now_h=-1.0), "now_h is -1"),
])  # fmt: skip
def test_nonsense_is_refused_by_name(make, words):
    with pytest.raises(ValueError, match=words):
        make()
