"""Ways to spoil a week: order and waiting, people, places, material."""

from dataclasses import replace

from planning.core.plan import LotUse, Stand, Task, Unplaced
from tests.planning.core import spoils, weeks
from tests.planning.core.spoils import row, without
from tests.planning.core.weeks import (
    DAY,
    SHIFTS,
    matched,
    open_life,
    ovens,
    receipt,
    shared,
    single,
    three_lifts,
    wet_on_wet,
)


def alike(load, count):
    """Make bob `count` alike people who can cast."""
    return spoils.person(load, 1, count=count)


TIMES = [
    row(
        "wet_on_wet",
        "past the gel limit",
        wet_on_wet,
        lambda p: spoils.clocks(p, gel_limit_min=30),
    ),
    row("wet_on_wet", "both pots at once", wet_on_wet, plan=lambda p: spoils.moved(p, -7, 1)),
    row("lift_gap", "too soon", three_lifts, lambda p: spoils.clocks(p, gap_least_min=301)),
    row(
        "lift_gap", "window closed", three_lifts, lambda p: spoils.clocks(p, gap_greatest_min=299)
    ),
    row("lift_gap", "not abraded", three_lifts, plan=lambda p: without(p, "tasks", 1)),
    row(
        "lift_gap",
        "overdue forbidden",
        three_lifts,
        lambda p: spoils.settings(p, overdue_lift="forbid"),
    ),
    row("lift_gap", "abraded in a hurry", three_lifts, lambda p: spoils.system(p, abrade_min=31)),
    row(
        "lift_gap",
        "abraded afterwards",
        three_lifts,
        plan=lambda p: spoils.task(p, 1, start_min=1930, end_min=1960),
    ),
    row(
        "lift_gap",
        "abraded while soft",
        three_lifts,
        plan=lambda p: spoils.task(p, 1, start_min=880, end_min=910),
    ),
    row(
        "lift_gap",
        "abraded under the first lift",
        three_lifts,
        plan=lambda p: replace(
            p, tasks=(*p.tasks, Task("P", "abrade", "", ("bob",), 450, 480, 0))
        ),
    ),
    row(
        "lift_gap",
        "abraded while the pot is mixed",
        three_lifts,
        plan=lambda p: spoils.task(p, 1, start_min=1881, end_min=1911),
    ),
    row(
        "step_order",
        "coated while the pot is mixed",
        single,
        lambda p: spoils.step(p, "before", wait_min=0),
        lambda p: spoils.task(p, 0, start_min=476, end_min=496, people=("bob",)),
    ),
    row("step_order", "coated longer", single, lambda p: spoils.step(p, "before", hands_min=21)),
    row("step_order", "still wet", single, lambda p: spoils.step(p, "before", wait_min=61)),
    row(
        "step_order",
        "coat too old",
        single,
        lambda p: spoils.step(p, "before", wait_min=10, longest_wait_min=59),
    ),
    row(
        "step_order",
        "coat too old for the shop",
        single,
        lambda p: spoils.settings(p, coat_to_pour_most_min=59),
    ),
    row(
        "step_order",
        "one step twice",
        single,
        plan=lambda p: replace(p, tasks=(*p.tasks, replace(p.tasks[0], people=("bob",)))),
    ),
    row(
        "step_order",
        "a step left out",
        ovens,
        lambda p: spoils.pour(
            p,
            after=(p.pours[0].after[0], weeks.Step("look", "Look round", 10), p.pours[0].after[1]),
        ),
    ),
    row(
        "step_order",
        "a step nobody knows",
        single,
        plan=lambda p: replace(
            p, tasks=(*p.tasks, Task("P", "after", "dance", ("bob",), 1980, 1990))
        ),
    ),
    row(
        "step_order",
        "baked before it was stripped",
        ovens,
        lambda p: spoils.step(p, "after", wait_min=61),
    ),
    row(
        "stands_on",
        "begun too soon",
        matched,
        lambda p: spoils.place(
            spoils.pour(p, after=(replace(weeks.STRIP, wait_min=1400),)), capacity=2
        ),
        lambda p: spoils.stand(p, end_min=3380),
    ),
    row(
        "stands_on",
        "nothing under it",
        matched,
        plan=lambda p: spoils.figures(
            replace(
                p,
                lifts=p.lifts[1:],
                batches=p.batches[1:],
                tasks=p.tasks[2:],
                stands=p.stands[1:],
                unplaced=(Unplaced("A", "shift", "no time left"),),
            ),
            unplaced=1,
            pots=1,
            residue_kg=0.3,
        ),
    ),
    row("cure", "stripped soft", single, lambda p: spoils.clocks(p, cure_min=1446)),
    row("cure", "this pour cures longer", single, lambda p: spoils.pour(p, cure_min=1446)),
    row(
        "attended", "peaks after closing time", single, lambda p: spoils.clocks(p, attend_min=576)
    ),
    row(
        "attended",
        "nobody in the break",
        single,
        lambda p: spoils.clocks(replace(p, staffed=()), attend_min=216),
    ),
    row(
        "last_pour", "a minute late", single, lambda p: spoils.settings(p, last_pour_clock_min=499)
    ),
    row(
        "last_pour",
        "on a day that begins an hour early",
        matched,
        lambda p: spoils.settings(
            replace(p, day_starts=(0, DAY, 2 * DAY - 60)), last_pour_clock_min=500
        ),
    ),
]

PEOPLE_AND_PLACES = [
    row(
        "shift",
        "before seven",
        single,
        lambda p: spoils.person(p, shifts=((430, 720), *SHIFTS[1:])),
    ),
    row(
        "shift",
        "through a break",
        single,
        lambda p: spoils.person(p, shifts=((420, 500), (500, 720), *SHIFTS[1:])),
    ),
    row("shift", "somebody unknown", single, plan=lambda p: spoils.task(p, people=("zoe",))),
    row("skill", "cannot cast", single, lambda p: spoils.person(p, skills=())),
    row("skill", "one short", single, lambda p: spoils.system(p, hands=2)),
    row("skill", "one too many", single, plan=lambda p: spoils.task(p, people=("ann", "bob"))),
    row(
        "person_busy",
        "two coats at once",
        shared,
        plan=lambda p: spoils.task(p, 1, people=("ann",)),
    ),
    row(
        "person_busy",
        "three of two alike",
        shared,
        lambda p: spoils.step(alike(p, 2), "before", hands=2),
        lambda p: spoils.task(p, people=("bob", "bob")),
    ),
    row(
        "mixer_busy",
        "two batches in one",
        wet_on_wet,
        plan=lambda p: spoils.batch(p, 1, mixer="M1"),
    ),
    row(
        "mixer_busy",
        "closed while cleaning",
        single,
        lambda p: spoils.mixer(p, closed=((509, 600),)),
    ),
    row(
        "mixer_busy", "kept for another system", single, lambda p: spoils.mixer(p, systems=("T",))
    ),
    row("mixer_busy", "no such mixer", single, plan=lambda p: spoils.batch(p, mixer="M9")),
    row("place", "no stand", single, plan=lambda p: replace(p, stands=())),
    row(
        "place",
        "two stands",
        single,
        plan=lambda p: replace(p, stands=(*p.stands, Stand("P", "bench2", 0, 1))),
    ),
    row("place", "of another kind", single, lambda p: spoils.place(p, kind="floor")),
    row("place", "taken too late", single, plan=lambda p: spoils.stand(p, start_min=421)),
    row("place", "given up too soon", single, plan=lambda p: spoils.stand(p, end_min=1979)),
    row("place", "full", shared, plan=lambda p: spoils.stand(p, 1, place="bench1")),
    row("place", "closed", single, lambda p: spoils.place(p, closed=((1979, 3000),))),
    row("place", "no such place", single, plan=lambda p: spoils.stand(p, place="bench9")),
    row(
        "place",
        "moved to another bench",
        matched,
        plan=lambda p: spoils.stand(p, 1, place="bench2"),
    ),
    row(
        "place",
        "bench given up between the halves",
        matched,
        plan=lambda p: spoils.stand(p, end_min=3299),
    ),
    row("oven", "in no oven", ovens, plan=lambda p: spoils.task(p, 4, oven="")),
    row("oven", "on a bench", ovens, plan=lambda p: spoils.task(p, 4, oven="bench1")),
    row("oven", "a coat in the oven", single, plan=lambda p: spoils.task(p, oven="oven1")),
    row("oven", "two cycles", ovens, lambda p: spoils.step(p, "after", 1, oven_cycle="80 C")),
    row(
        "oven",
        "two starts",
        ovens,
        lambda p: spoils.step(p, "after", 1, wait_min=479),
        lambda p: spoils.task(p, 4, oven_start_min=2041),
    ),
    row(
        "oven",
        "heated before it was in",
        ovens,
        plan=lambda p: spoils.figures(
            spoils.task(spoils.task(p, 4, oven_start_min=2039), 5, oven_start_min=2039),
            lateness=57,
            finish_min=2519,
        ),
    ),
    row(
        "oven",
        "a coat with an oven start",
        single,
        plan=lambda p: spoils.task(p, oven_start_min=440),
    ),
    row("oven", "full", ovens, lambda p: spoils.place(p, 2, capacity=1)),
    row("oven", "closed", ovens, lambda p: spoils.place(p, 2, closed=((2519, 2600),))),
]

LOTS = [
    row("lot_mass", "more than it holds", single, lambda p: spoils.resin(p, kg=8.2)),
    row("lot_mass", "more than it holds for both", matched, lambda p: spoils.resin(p, kg=16.4)),
    row(
        "lot_mass",
        "short of hardener",
        single,
        plan=lambda p: spoils.batch(p, lots=weeks.uses(8.24, 2)),
    ),
    row("lot_mass", "no lots at all", single, plan=lambda p: spoils.batch(p, lots=())),
    row(
        "lot_mass",
        "the wrong material",
        single,
        lambda p: replace(p, lots=(replace(p.lots[0], material="gelcoat"), p.lots[1])),
    ),
    row(
        "lot_mass",
        "no such container",
        single,
        plan=lambda p: spoils.batch(p, lots=weeks.uses(8.24, 2.06, "R9")),
    ),
    row(
        "lot_mass",
        "less than nothing",
        single,
        plan=lambda p: spoils.batch(
            p, lots=(*weeks.uses(9.24, 2.06), LotUse("R", "R1", "resin", -1))
        ),
    ),
    row("lot_date", "not in yet", receipt, lambda p: spoils.resin(p, available_from_min=486)),
    row(
        "lot_date",
        "expired while pouring",
        single,
        lambda p: spoils.resin(p, usable_until_min=504),
    ),
    row(
        "lot_date", "opened for too long", open_life, lambda p: spoils.resin(p, open_life_min=2899)
    ),
]
