"""
Wherever a figure of the data sheet and a computed one meet, the stricter holds and is named.

Each quantity is computed without the data sheet first. Then a data sheet says a little more and a
little less, at the temperature of the shop, so that nothing is shifted.
"""

from dataclasses import fields, replace

import pytest

from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import PouredLift, Reading
from planning.core.casting.cure import cure_clock
from planning.core.casting.exotherm import solve_lift
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.limits import DayLimits, depth_and_clock_limits
from planning.core.casting.pot_life import Handling, largest_batch, pot_life_min
from planning.core.casting.stricter import Limit
from planning.core.casting.system import USUAL_PEAK_LIMIT_C, Datasheet, TimePoint
from tests.benchmarks.bench_clock import MODEL

SHOP_C, DEPTH_MM, NOW_H = 22.0, 60.0, 200.0
BOARD = tool_side("board")
SYSTEM = replace(MODEL, peak_cap_c=80.0)
HANDLING = Handling(mix_min=5.0, move_min=1.0, pour_kg_min=5.0)


def limits(system):
    return depth_and_clock_limits(system, SHOP_C, BOARD, AIR_TOP, depth_mm=DEPTH_MM, batch_kg=2.0)


def clocks(system):
    air = tuple(Reading(float(hour), SHOP_C, "air") for hour in range(int(NOW_H)))
    return clocks_of(PouredLift(system, DEPTH_MM, BOARD, AIR_TOP, NOW_H, SHOP_C, air))


def of_day(name):
    def found(system):
        limit = getattr(limits(system), name)
        return limit.value, limit.basis

    return found


def of_clock(name):
    def found(system):
        clock = getattr(clocks(system), name)
        return 60 * clock.go_h, {"model": "computed"}.get(clock.basis, clock.basis)

    return found


def heaviest(system):
    found = largest_batch(system, SHOP_C, HANDLING)
    return found.mass_kg, found.pot_life.basis


def cured(system):
    due = cure_clock(system, [0.0], [SHOP_C], SHOP_C).due_h
    return 60 * due.value, due.basis


def pot(system):
    limit = pot_life_min(system, SHOP_C, 2.0)
    return limit.value, limit.basis


def batch(system):
    found = largest_batch(system, SHOP_C, HANDLING)
    return found.pot_life.value, found.pot_life.basis


ROWS = {
    "pot life of a day": (of_day("pot_life_min"), "pot_life", min),
    "pot life": (pot, "pot_life", min),
    "pot life of the largest batch": (batch, "pot_life", min),
    "gel at the earliest": (of_day("gel_early_min"), "gel", min),
    "gel at the latest": (of_day("gel_late_min"), "gel", max),
    "deepest lift": (of_day("deepest_lift_mm"), "deepest_lift_mm", min),
    "next lift of a day": (of_day("least_gap_min"), "least_gap", max),
    "window of a day": (of_day("greatest_gap_min"), "greatest_gap", min),
    "demould of a day": (of_day("demould_min"), "demould", max),
    "demould by equivalent age": (cured, "demould", max),
    "clock of the next lift": (of_clock("opens"), "least_gap", max),
    "clock of the window": (of_clock("closes"), "greatest_gap", min),
    "clock of the cure": (of_clock("cured"), "demould", max),
    "clock of demoulding": (of_clock("demould"), "demould", max),
}
"""Of each quantity how it is asked, the field of the data sheet, and which of two is stricter."""
NOT_OF_BOTH = {
    "attended_min": "computed alone: a data sheet tells no peak time; its gel time where nothing "
    "is computed",
}


def printed(field, value):
    if field == "deepest_lift_mm":
        return Datasheet(deepest_lift_mm=value)
    return Datasheet(**{field: TimePoint(value, SHOP_C)})


def test_every_limit_and_every_figure_of_the_data_sheet_has_its_row():
    of_a_day = {f.name for f in fields(DayLimits) if f.type == Limit.__name__}
    assert len(of_a_day) == 8
    asked = {name for name in of_a_day if any(_asks(row, name) for row in ROWS.values())}
    assert asked | set(NOT_OF_BOTH) == of_a_day
    assert {row[1] for row in ROWS.values()} == {f.name for f in fields(Datasheet)}


def _asks(row, name):
    closure = row[0].__closure__ or ()
    return name in [cell.cell_contents for cell in closure]


@pytest.mark.parametrize("share", [0.5, 0.95, 1.05, 2.0])
def test_the_largest_batch_is_that_of_the_shorter_pot_life(share):
    alone, basis = heaviest(SYSTEM)
    life, _ = batch(SYSTEM)
    assert basis == "computed"
    mass, basis = heaviest(replace(SYSTEM, datasheet=printed("pot_life", share * life)))
    if share > 1:
        assert (mass, basis) == (pytest.approx(alone, rel=2e-3), "computed")
    else:
        assert (mass < 0.97 * alone, basis) == (True, "datasheet")


@pytest.mark.parametrize(("vessel_kg", "mixer_kg", "least", "bound_by"), [
    (3.0, 9.0, 2.5, "mass that the pot life was read on"),
    (2.0, 9.0, 2.0, "vessel"),
    (9.0, 1.5, 1.5, "mixer"),
])  # fmt: skip
def test_of_the_masses_that_hold_a_batch_the_least_does(vessel_kg, mixer_kg, least, bound_by):
    sheet = Datasheet(pot_life=TimePoint(600.0, SHOP_C, 0.5))
    bare = replace(SYSTEM, kinetics=None, datasheet=sheet)
    found = largest_batch(bare, SHOP_C, HANDLING, vessel_kg=vessel_kg, mixer_kg=mixer_kg)
    assert (found.mass_kg, found.bound_by) == (least, bound_by)


@pytest.mark.parametrize("cap_c", [45.0, 120.0, None])
def test_a_lift_stays_under_the_peak_limit_and_the_printed_depth_both(cap_c):
    """The limit is the system's own, be it under or over the usual one that else is taken."""
    alone = replace(SYSTEM, peak_cap_c=cap_c)
    assert alone.peak_limit_c == (cap_c or USUAL_PEAK_LIMIT_C)
    depth = limits(alone).deepest_lift_mm.value
    curve = solve_lift(alone, depth, SHOP_C, BOARD, AIR_TOP)
    assert curve.peak_c == pytest.approx(alone.peak_limit_c, abs=0.3)
    for share, stricter in ((0.9, "datasheet"), (1.1, "computed")):
        printed_too = replace(alone, datasheet=Datasheet(deepest_lift_mm=share * depth))
        found = limits(printed_too).deepest_lift_mm
        assert (found.value, found.basis) == (pytest.approx(min(share, 1) * depth), stricter)


@pytest.mark.parametrize("quantity", ROWS)
@pytest.mark.parametrize("share", [0.5, 0.95, 1.05, 2.0])
def test_the_stricter_holds_and_is_named(quantity, share):
    asked, field, stricter = ROWS[quantity]
    alone, basis = asked(SYSTEM)
    assert basis == "computed"
    system = replace(SYSTEM, datasheet=printed(field, share * alone))
    value, basis = asked(system)
    # A clock moves the printed time by what the room may have been, on its careful side.
    careful = quantity.startswith("clock")
    sheet = share * alone if not careful else asked_of_sheet(quantity, system)
    assert value == pytest.approx(stricter(alone, sheet), rel=1e-6)
    assert basis == ("computed" if stricter(alone, sheet) == alone else "datasheet")
    if not careful or share in (0.5, 2.0):
        assert basis == ("datasheet" if stricter(1.0, share) == share else "computed")


def asked_of_sheet(quantity, system):
    """Return what a clock says by the data sheet alone, without the factor it then takes, min."""
    bare = replace(system, kinetics=None)
    name = {"next lift": "opens", "window": "closes", "cure": "cured", "demoulding": "cured"}[
        quantity.removeprefix("clock of ").removeprefix("the ")
    ]
    lift = PouredLift(bare, DEPTH_MM, BOARD, AIR_TOP, NOW_H, SHOP_C, _air())
    clock = getattr(clocks_of(lift), name)
    factor = lift.margins.sheet_factor
    return 60 * (clock.go_h * factor if name == "closes" else clock.go_h / factor)


def _air():
    return tuple(Reading(float(hour), SHOP_C, "air") for hour in range(int(NOW_H)))
