"""Weeks of which a pour, A, has no place or is late for one planted cause: rule, words, week."""

from dataclasses import replace

from planning.core.plan import Frozen, Problem
from planning.core.problem import Container, Layer, Lot, Mixer, Person, Place, Pour, Step
from planning.core.week import plan_week
from tests.planning.core.small_weeks import (
    DAY,
    clocks,
    coat,
    lots,
    pour,
    problem,
    set_to,
    shifts,
    system,
)

BAKE = Step("bake", "Post-cure", 5, 600, oven_cycle="60C")
SOON = replace(BAKE, longest_wait_min=700)
BENCH = Place("bench-1", "bench", 6)
OVEN = Place("oven-1", "oven")
TWO_LIFTS = (Layer(40.0, 3.0), Layer(40.0, 3.0))


def crew(*shift: tuple[int, int], id: str = "T1", skills: tuple[str, ...] = ("mix",), count=1):
    return Person(id, shift, skills, count=count)


def after(first: Pour, *pours: Pour, **other: object) -> Problem:
    """Return a week in which the first pour has begun: it was planned alone and stays."""
    alone = problem(first, **other)
    plan = plan_week(alone)
    assert plan.unplaced == ()
    frozen = Frozen(plan.lifts, plan.batches, plan.tasks, plan.stands)
    return replace(alone, pours=(first, *pours), frozen=frozen)


def full_load() -> Problem:
    """Return a week in which a load of the same cycle fills the only oven until too late."""
    long = replace(BAKE, wait_min=4 * DAY, longest_wait_min=4 * DAY + 10)
    return after(
        pour("F", after=(long,)),
        pour("A", after=(replace(long, wait_min=600, longest_wait_min=700),)),
        places=(BENCH, OVEN),
    )


def opened_too_soon() -> Problem:
    """Return a week whose only can of hardener, once opened, does not keep for the second pour."""
    sealed = Container("H1a", 50.0, 30 * DAY, open_life_min=300)
    return after(
        pour("F"), pour("A", earliest_min=DAY), lots=(lots()[0], Lot("H1", "H", (sealed,)))
    )


UNPLACED: dict[str, tuple[str, str, Problem]] = {
    "the mixer is kept for another system": (
        "mixer_busy", "let M1 be used for S",
        problem(pour("A"), mixers=(Mixer("M1", 10.0, systems=("X",)),)),
    ),
    "the vessel holds no more than what stays in it": (
        "batch_mass", "a mixer and vessel of",
        problem(pour("A"), systems=(system(vessel_kg=0.4, residue_fixed_kg=0.5),)),
    ),
    "the least pot of the mixer is more than the pour": (
        "batch_mass", "a small pot", problem(pour("A", 2.0), mixers=(Mixer("M1", 10.0, 5.0),)),
    ),
    "resin short": (
        "lot_mass", "3.2 kg more of R", problem(pour("A"), lots=lots()[1:]),
    ),
    "resin comes in after the week": (
        "lot_date", "3.2 kg more of R",
        problem(pour("A"), lots=(
            Lot("R1", "R", (Container("R1a", 50.0, 30 * DAY, available_from_min=9 * DAY),)),
            lots()[1],
        )),
    ),
    "a can opened for another pour does not keep": (
        "lot_date", "more of H", opened_too_soon(),
    ),
    "nobody may coat": (
        "skill", "T1 trained for 'coat'",
        problem(pour("A", before=(coat(),)), people=(crew(*shifts()),)),
    ),
    "a step takes two people": (
        "skill", "another person like T1", problem(pour("A", before=(coat(hands=2),))),
    ),
    "the only mixer of resin is away all week": (
        "skill", "T1 trained for 'mix'",
        problem(pour("A"), people=(crew(*shifts(), skills=("coat",)), crew(id="T2"))),
    ),
    "a step longer than any shift": (
        "shift", "60 min more on", problem(pour("A", before=(coat(500),))),
    ),
    "it may only be begun when nobody works": (
        "earliest", "let A be begun on Tuesday 1 December, 08:00",
        problem(pour("A", earliest_min=2 * DAY + 400)),
    ),
    "the bench is held by another pour": (
        "place", "room for one more pour of kind 'bench'",
        after(pour("F", cure_min=3 * DAY), pour("A"), places=(Place("bench-1", "bench", 1),)),
    ),
    "the only mixer is held by another pour": (
        "mixer_busy", "a second mixer M1",
        after(pour("F"), pour("A"), people=(crew((480, 502), count=2),)),
    ),
    "an oven load of its own cycle is full": (
        "oven", "oven", full_load(),
    ),
    "no oven for a step before the pour": (
        "oven", "an oven", problem(pour("A", before=(coat(5, 60, oven_cycle="60C"),))),
    ),
    "an oven closed when the cure is over": (
        "oven", "a second oven",
        problem(pour("A", after=(SOON,)),
                places=(BENCH, replace(OVEN, closed=((900, 9 * DAY),)))),
    ),
    "the coat dries past its own longest wait": (
        "step_order", "let the steps of A wait 60 min longer",
        problem(pour("A", before=(coat(10, 0, longest_wait_min=5),))),
    ),
    "a coat that dries into the night": (
        "step_order", "let the steps of A wait",
        problem(pour("A", before=(coat(10, 600, longest_wait_min=650),))),
    ),
    "the peak of a later lift at night": (
        "attended", "somebody to watch",
        problem(pour("A"), systems=(system(conditions=(clocks(attend_min=200),)),),
                staffed=((480, 600), (DAY + 480, DAY + 600))),
    ),
    "mixed for longer than it can be poured": (
        "pot_life", "a slower system", problem(pour("A"), systems=(system(mix_min=70),)),
    ),
    "no mixer at all": ("mixer_busy", "a mixer of 10 kg for S", problem(pour("A"), mixers=())),
    "it cures longer than the days planned": (
        "horizon", "plan it into the week after",
        problem(pour("A", cure_min=4 * DAY, after=(coat(),))),
    ),
    "its lower half has no place": (
        "stands_on", "stays open",
        problem(pour("L", place_kind="floor"), pour("A", stands_on="L"),
                places=(BENCH, Place("floor", "floor", 1, ((0, 90 * DAY),)))),
    ),
    "the second lift past its window, abrading forbidden": (
        "lift_gap", "overdue lift to be abraded",
        set_to(
            problem(pour("A", layers=TWO_LIFTS), systems=(system(abrade_min=10),),
                    people=(crew((480, 520), (DAY + 480, DAY + 520)),)),
            overdue_lift="forbid",
        ),
    ),
}  # fmt: skip


IN_TIME = 480 + 10 + 4 + 600
"""When a pour of 4 kg begun first thing on Monday is done."""

LATE: dict[str, tuple[str, str, Problem]] = {
    "its oven is in use": (
        "oven", "a second oven",
        after(
            pour("F", after=(replace(BAKE, wait_min=1600, oven_cycle="80C"),)),
            pour("A", after=(BAKE,), due_min=DAY + 1100),
            places=(BENCH, OVEN), horizon_min=4 * DAY, people=(crew(*shifts(4)),),
        ),
    ),
    "its mixer is closed on the first day": (
        "mixer_busy", "a second mixer M1",
        problem(pour("A", due_min=IN_TIME), mixers=(Mixer("M1", 10.0, closed=((0, DAY),)),)),
    ),
    "its bench is closed on the first day": (
        "place", "bench",
        problem(pour("A", due_min=IN_TIME), places=(replace(BENCH, closed=((0, DAY),)),)),
    ),
    "its bench is taken until the second day": (
        "place", "room for one more pour of kind 'bench'",
        after(pour("F"), pour("A", due_min=IN_TIME + 30), places=(Place("bench-1", "bench", 1),)),
    ),
    "its hardener comes on the second day": (
        "lot_date", "more of H by Monday 30 November, 08:00",
        problem(pour("A", due_min=IN_TIME), lots=lots(available_from_min=DAY)),
    ),
    "no pour so late in the day": (
        "last_pour", "allow pours until",
        set_to(
            problem(pour("A", before=(coat(300, 30),), due_min=480 + 300 + 30 + 14 + 610)),
            last_pour_clock_min=700,
        ),
    ),
    "it may not be begun sooner": (
        "earliest", "let A be begun on Monday 30 November, 08:00",
        problem(pour("A", earliest_min=700, due_min=IN_TIME)),
    ),
    "it would peak at night": (
        "attended", "somebody to watch",
        problem(pour("A", 4.0, before=(coat(200, 200),), due_min=480 + 400 + 14 + 630),
                systems=(system(conditions=(clocks(attend_min=120),)),)),
    ),
    "its shift ends too soon": (
        "shift", "60 min more on Monday 30 November",
        problem(pour("A", before=(coat(20, 0),), due_min=DAY),
                people=(crew((480, 510), (DAY + 480, DAY + 560), skills=("mix", "coat")),)),
    ),
    "its person pours another": (
        "person_busy", "another person like T1",
        problem(
            *(pour(x, 9.0, due_min=480 + 10 + 9 + 600, may_share=False) for x in ("F", "A")),
            mixers=(Mixer("M1", 10.0, count=2),), people=(crew(*shifts()),),
        ),
    ),
    "it cures longer than there is time": (
        "cure", "", problem(pour("A", due_min=500, cure_min=2000)),
    ),
}  # fmt: skip
