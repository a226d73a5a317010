"""The picture of a week puts each piece where its time is, and tells who is late."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from planning.core import plan as core
from planning.core import problem as given
from planning.schedule.board import LEFT, WIDTH, board, finish_min, late_pours

BERLIN = ZoneInfo("Europe/Berlin")
MONDAY = date(2026, 11, 30)
WEEK = [MONDAY + timedelta(days=n) for n in range(7)]
H = 60


def problem(**changes):
    condition = given.Condition(0, 60, 90, 60, 600, 30, 20 * H)
    system = given.System("T", "R", "H", 10, (condition,), 60, 10, 5, 5, 2, name="System T")
    values = {
        "origin": "2026-11-30T00:00:00+01:00",
        "horizon_min": 14 * 1440,
        "people": (given.Person("1", ((6 * H, 12 * H), (13 * H, 15 * H)), name="Ina"),),
        "mixers": (given.Mixer("1", 20, name="Mixer"),),
        "places": (given.Place("1", "bench", capacity=2, name="Bench"),),
        "systems": (system,),
        "pours": tuple(
            given.Pour(key, "T", (given.Layer(40, 4),), "bench", due, name=f"TO-{key} A")
            for key, due in (("7", 1440), ("8", 3 * 1440))
        ),
    }
    return core.Problem(**values | changes)


def plan():
    batch = core.Batch(
        "b", "T", "1", ("1",), 7 * H, 7 * H + 10, 7 * H + 15, 7 * H + 20, 7 * H + 25, 8.2,
        (
            core.Portion("7", 0, 4, 7 * H + 15, 7 * H + 17),
            core.Portion("8", 0, 4, 7 * H + 18, 7 * H + 20),
        ),
    )  # fmt: skip
    return core.Plan(
        lifts=(core.Lift("7", 0, 0, 1, 40, 4), core.Lift("8", 0, 0, 1, 40, 4)),
        batches=(batch,),
        stands=(
            core.Stand("7", "1", 6 * H, 7 * H + 17 + 20 * H),
            core.Stand("8", "1", 6 * H, 7 * H + 20 + 20 * H),
        ),
    )


def test_a_bar_stands_at_its_hour():
    found = board(problem(), plan(), BERLIN, [MONDAY])
    (bar,) = [b for b in found.bars if b.piece.kind == "batch" and "person" in b.piece.row]
    minute = (WIDTH - LEFT) / (9 * H)  # people work from 6 to 15
    assert bar.x == pytest.approx(LEFT + 60 * minute, abs=0.1)
    assert bar.width == pytest.approx(25 * minute - 1, abs=0.1)


def test_a_mixer_is_busy_from_first_contact():
    found = board(problem(), plan(), BERLIN, [MONDAY])
    (piece,) = [p for p in found.pieces if p.row == "mixer:1"]
    assert piece.start == datetime(2026, 11, 30, 7, 10, tzinfo=BERLIN)


def test_a_stand_is_drawn_on_each_of_its_days_and_two_share_a_place_side_by_side():
    found = board(problem(), plan(), BERLIN, WEEK)
    stands = [b for b in found.bars if b.piece.kind == "wait"]
    assert len(stands) == 2  # the second morning ends at 03:20, before the shop opens
    assert len({b.y for b in stands}) == 2
    row = next(r for r in found.rows if r.name == "Bench")
    assert all(row.y < b.y and b.y + b.height < row.y + row.height for b in stands)


def test_nothing_is_drawn_outside_the_picture():
    found = board(problem(), plan(), BERLIN, WEEK)
    assert all(b.x >= LEFT and b.x + b.width <= WIDTH for b in found.bars)
    assert all(b.y + b.height <= found.height for b in found.bars)


def test_hours_follow_the_wall_clock_over_a_clock_change():
    autumn = problem(origin="2026-10-24T00:00:00+02:00")
    sunday = date(2026, 10, 25)
    batch = plan().batches[0]
    late = 25 * H  # elapsed: Sunday is an hour longer, so 32 h after midnight it is 07:00
    moved = core.Batch(
        "b", "T", "1", ("1",), 7 * H + late, 7 * H + late + 10, 7 * H + late + 15,
        7 * H + late + 20, 7 * H + late + 25, 8.2, batch.portions,
    )  # fmt: skip
    found = board(autumn, core.Plan(batches=(moved,)), BERLIN, [sunday])
    (piece,) = [p for p in found.pieces if p.row == "person:1"]
    assert piece.start.astimezone(BERLIN).hour == 7


def test_a_pour_is_late_when_its_cure_ends_after_it_is_due():
    asked, made = problem(), plan()
    assert finish_min(asked, made, "7") == 7 * H + 17 + 20 * H
    assert late_pours(asked, made) == [("7", 7 * H + 17 + 20 * H - 1440)]
