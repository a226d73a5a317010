"""
Records that are wrong from end to end open nothing before the casting really is so far.

The true casting is the model's own curve in a room that stays as it is. Two sensors are swapped
all along, or one is in °F to the last reading, each of them confirmed by who typed it.
"""

from dataclasses import replace

import pytest

from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import Reading
from planning.core.casting.sheet_times import shifted
from planning.core.casting.surroundings import surroundings
from tests.planning.core.casting.demo_resin import SHEET
from tests.planning.core.casting.test_model_clock import LIFT, logged

ROOM_C, LOOK_EVERY_H, LONGEST_H = 22.0, 3.0, 60.0


def opened_h(lift, name, readings):
    """Return when a clock is found open by somebody who looks often and at each time announced."""
    now_h = 0.0
    while now_h < LONGEST_H:
        seen = tuple(one for one in readings if one.hour <= now_h)
        clock = getattr(clocks_of(replace(lift, readings=seen, now_h=now_h)), name)
        if clock.is_open(now_h):
            return now_h
        ahead = now_h + LOOK_EVERY_H
        now_h = ahead if clock.go_h is None else min(ahead, max(clock.go_h, now_h + 0.02))
    return LONGEST_H


def curves(lift):
    """Return what a sensor in the core and one in the room of a lift really saw."""
    core = logged("core", lift.depth_mm / 2, LONGEST_H, 1.0, lift=lift)
    return core, tuple(Reading(one.hour, ROOM_C, "air") for one in core)


def swapped(core, air):
    return tuple(replace(one, where="air", height_mm=None) for one in core) + tuple(
        replace(one, where="core") for one in air
    )


def in_fahrenheit(readings):
    return tuple(replace(one, celsius=one.celsius * 9 / 5 + 32) for one in readings)


@pytest.mark.parametrize("depth_mm", [40.0, 70.0])
def test_a_casting_s_own_heat_told_as_the_air_moves_no_data_sheet_time_early(depth_mm):
    lift = replace(LIFT, depth_mm=depth_mm)
    core, air = curves(lift)
    bare = replace(lift, system=replace(lift.system, kinetics=None, datasheet=SHEET))
    true = replace(bare, readings=air, now_h=LONGEST_H)
    around = surroundings(true)
    for name, point in (("opens", SHEET.least_gap), ("cured", SHEET.demould)):
        assert opened_h(bare, name, swapped(core, air)) >= shifted(true, around, point).best_h


def test_two_swapped_sensors_open_no_computed_clock_early():
    core, air = curves(LIFT)
    assert opened_h(LIFT, "cured", swapped(core, air)) >= clocks_of(LIFT).cured.best_h


def test_a_core_in_fahrenheit_all_along_opens_nothing_early():
    lift = replace(LIFT, depth_mm=25.0)
    core, air = curves(lift)
    found = opened_h(lift, "opens", (*in_fahrenheit(core), *air))
    assert found >= clocks_of(lift).opens.best_h


def test_every_second_reading_in_fahrenheit_opens_nothing_early():
    core, air = curves(LIFT)
    mixed = (*core[::2], *in_fahrenheit(core[1::2]), *in_fahrenheit(air[::2]), *air[1::2])
    assert opened_h(LIFT, "opens", mixed) >= clocks_of(LIFT).opens.best_h
