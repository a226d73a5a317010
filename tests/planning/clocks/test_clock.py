"""A lift's clock: what makes it earlier, what only later, and that holes err on the cold side."""

import random
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction

from planning.batches.models import Batch, Lift
from planning.clocks import actions as clocks
from planning.clocks.models import Cure
from planning.core.casting.arrhenius import shift_time
from planning.core.casting.exotherm import solve_lift
from planning.core.casting.faces import AIR_TOP, INSULATED
from planning.system_data import system_data
from shop import stores

OPENINGS = ("peak_due_at", "next_opens_at", "demould_due_at")


@pytest.fixture
def cure(planned):
    planned()
    return clocks.start_clock(
        lift=Lift.objects.get(), poured_at=Batch.objects.get().planned_pour_end
    )


@pytest.fixture
def deep(take, planned):
    """A lift of 55 mm of the system whose kinetics are known."""
    planned(take(system="T", depth_mm="55"))
    return clocks.start_clock(
        lift=Lift.objects.get(), poured_at=Batch.objects.get().planned_pour_end
    )


def log(cure, *rows, where="air"):
    """Write down rows of hours after pouring and °C."""
    found = [
        {
            "key": f"{where}{hours}{celsius}",
            "at": cure.poured_at + timedelta(hours=hours),
            "celsius": Decimal(str(celsius)),
            "where": where,
            "pour": None if where == "air" else cure.lift.pour,
            "confirmed": True,
        }
        for hours, celsius in rows
    ]
    last = max(row["at"] for row in found)
    clocks.log_temperatures(site_id=cure.lift.pour.order.site_id, rows=found, now=last)
    return Cure.objects.get(pk=cure.pk)


def times(cure, names=OPENINGS):
    return tuple(getattr(cure, name) for name in names)


@pytest.mark.parametrize("where", ["core", "surface"])
def test_the_heat_of_the_casting_itself_moves_no_clock_earlier(deep, where):
    """The curve the model predicts is what the plan's times already hold."""
    system = system_data(stores.system(deep.lift.pour.system_id))
    curve = solve_lift(system, 55.0, 22.0, INSULATED, AIR_TOP)
    temps = curve.core_c if where == "core" else curve.top_c
    step = max(1, len(temps) // 40)
    rows = [
        (float(h), round(float(t), 1))
        for h, t in zip(curve.times_h[1::step], temps[1::step], strict=True)
        if h <= 30
    ]
    assert max(t for _, t in rows) > 45, "the curve shows the casting's own heat"
    planned = times(deep)
    for n in range(1, len(rows) + 1, 5):
        hot = log(deep, *rows[:n], where=where)
        assert all(a >= b for a, b in zip(times(hot), planned, strict=True))


@pytest.mark.parametrize("where", ["core", "surface"])
def test_a_casting_colder_than_expected_moves_its_clocks_later(cure, where):
    planned = times(cure)
    cold = log(cure, (1, 12), (2, 12), where=where)
    assert all(a > b for a, b in zip(times(cold), planned, strict=True))


def test_a_cold_night_between_two_warm_readings_is_not_ruled_out_by_them(cure):
    """22 °C is expected; what was read at 30 °C morning and evening says nothing of the night."""
    expected = times(cure)
    assert times(log(cure, (0, 30), (12, 30))) >= expected


def test_a_warm_room_that_was_watched_moves_the_clocks_earlier(cure):
    """480 min at 23 °C on the data sheet; 26 °C all along, the rest after the last as expected."""
    warm = log(cure, *((hours, 26) for hours in range(9)))
    minutes = (warm.demould_due_at - warm.poured_at).total_seconds() / 60
    assert minutes == pytest.approx(shift_time(480, 23, 26, 46_000), abs=1)


def test_one_reading_entered_long_after_says_nothing_new_at_the_temperature_expected(cure):
    planned = times(cure)
    assert times(log(cure, (119.4, 22))) == planned


def test_one_warm_reading_in_the_morning_opens_nothing_earlier(cure):
    planned = times(cure)
    assert times(log(cure, (5, 30))) == planned


def test_the_window_to_bond_ends_on_the_warm_side(cure):
    closes = cure.next_closes_at
    warmer = log(cure, (1, 28))
    assert warmer.next_closes_at < closes
    colder = log(cure, (1.2, 15))
    assert colder.next_closes_at <= closes


@pytest.mark.parametrize("seed", range(4))
def test_order_of_entry_does_not_matter(cure, seed):
    rows = [(0.5, 21), (1.5, 25), (3, 18), (7, 23), (7.5, 24), (16, 19)]
    names = (*OPENINGS, "next_closes_at")
    undo = transaction.savepoint()
    wanted = times(log(cure, *rows), names)
    transaction.savepoint_rollback(undo)
    mixed = random.Random(seed).sample(rows, len(rows))
    found = [log(cure, row) for row in mixed][-1]
    assert times(found, names) == wanted
