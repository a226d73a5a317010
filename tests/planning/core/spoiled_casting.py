"""Ways to spoil a week: what is placed and figured, lifts and batches."""

import math
from dataclasses import replace

from planning.core.plan import Frozen, Plan, Portion, Stand, Unplaced
from tests.planning.core import spoils, weeks
from tests.planning.core.spoils import row, without
from tests.planning.core.weeks import DAY, SYSTEM, matched, shared, single, three_lifts


def named_unplaced(plan, words, pour="P", times=1):
    unplaced = (Unplaced(pour, "shift", words),) * times
    return spoils.figures(replace(plan, unplaced=unplaced), unplaced=times)


def numbered_from_one(plan):
    return replace(
        plan,
        lifts=tuple(replace(one, lift=one.lift + 1) for one in plan.lifts),
        batches=tuple(
            replace(one, portions=(replace(one.portions[0], lift=one.portions[0].lift + 1),))
            for one in plan.batches
        ),
        tasks=tuple(replace(one, lift=one.lift and one.lift + 1) for one in plan.tasks),
    )


def frozen_single(load, **changes):
    """Freeze the batch and stand of `single`, changed, in its problem."""
    _, plan = single()
    fixed = Frozen(
        lifts=plan.lifts, batches=(replace(plan.batches[0], **changes),), stands=plan.stands
    )
    return replace(load, frozen=fixed)


def with_another_pot(plan, portion, mixed_kg, lots):
    """Pour a portion from a second pot after the one of `single`, else by the book."""
    times = (515, 525, 530, 531, 536)
    second = weeks.batch("B2", times, mixed_kg, (portion,), lots, "M2", "bob")
    plan = replace(plan, batches=(*plan.batches, second))
    plan = spoils.stand(spoils.task(plan, 1, start_min=1980, end_min=2010), end_min=2010)
    residue_kg = 0.3 + mixed_kg - portion.kg
    return spoils.figures(plan, pots=2, residue_kg=residue_kg, finish_min=2010)


PLACING = [
    row("pour_missing", "neither planned nor unplaced", single, plan=lambda plan: Plan()),
    row(
        "pour_missing",
        "both planned and unplaced",
        shared,
        plan=lambda plan: spoils.figures(
            named_unplaced(plan, "no time left", "Q"), lateness=0, finish_min=1980
        ),
    ),
    row(
        "pour_missing",
        "unplaced without a reason",
        single,
        plan=lambda plan: named_unplaced(Plan(), " "),
    ),
    row(
        "pour_missing",
        "unplaced twice",
        single,
        plan=lambda plan: named_unplaced(Plan(), "no time left", times=2),
    ),
    row(
        "pour_missing",
        "a stand for a pour nobody asked for",
        single,
        plan=lambda plan: replace(plan, stands=(*plan.stands, Stand("X", "bench2", 0, 9))),
    ),
    row("earliest", "coated too early", single, lambda load: spoils.pour(load, earliest_min=421)),
    row(
        "earliest",
        "weighed too early",
        single,
        lambda load: spoils.pour(load, earliest_min=486, before=()),
        lambda plan: without(plan, "tasks", 0),
    ),
    row("horizon", "stripped after the end", single, lambda load: replace(load, horizon_min=1950)),
    row(
        "frozen",
        "a frozen batch was moved by a minute",
        single,
        lambda load: frozen_single(load, start_min=484, contact_min=494),
    ),
    row("frozen", "a frozen batch is gone", single, lambda load: frozen_single(load, id="B9")),
    row(
        "frozen",
        "early work of the previous plan was moved",
        single,
        lambda load: replace(
            spoils.settings(load, freeze_until_min=421),
            previous=spoils.task(single()[1], people=("bob",)),
        ),
    ),
    row("figures", "one pot too few", single, plan=lambda plan: spoils.figures(plan, pots=0)),
    row("figures", "an hour less late", shared, plan=lambda p: spoils.figures(p, lateness=20)),
    row("figures", "residue forgotten", single, plan=lambda p: spoils.figures(p, residue_kg=0)),
    row(
        "figures",
        "residue not a number",
        single,
        plan=lambda p: spoils.figures(p, residue_kg=math.nan),
    ),
    row(
        "figures", "finish before done", single, plan=lambda p: spoils.figures(p, finish_min=1950)
    ),
    row("figures", "one unplaced", single, plan=lambda p: spoils.figures(p, unplaced=1)),
    row("figures", "more pots as bound", single, plan=lambda p: spoils.figures(p, pots_bound=2)),
    row("figures", "late as bound", single, plan=lambda p: spoils.figures(p, lateness_bound=1)),
    row("figures", "two batches of one id", matched, plan=lambda p: spoils.batch(p, 1, id="B1")),
]

CASTING = [
    row("lift_depth", "over the system", single, lambda p: spoils.system(p, deepest_lift_mm=39)),
    row("lift_depth", "over the pour", single, lambda p: spoils.pour(p, deepest_lift_mm=39)),
    row("lift_depth", "not its layers' depth", single, plan=lambda p: spoils.lift(p, depth_mm=30)),
    row("lift_depth", "too thin", three_lifts, lambda p: spoils.settings(p, least_lift_mm=41)),
    row(
        "lift_depth",
        "a layer left out",
        single,
        lambda p: spoils.pour(p, layers=(*p.pours[0].layers, weeks.Layer(5, 2))),
    ),
    row(
        "lift_depth",
        "numbered from 1",
        three_lifts,
        lambda p: spoils.pour(p, before=()),
        lambda p: numbered_from_one(without(p, "tasks", 0)),
    ),
    row(
        "lift_mass",
        "not its layers' mass",
        single,
        lambda p: spoils.pour(p, layers=(weeks.Layer(20, 5), weeks.Layer(20, 6))),
    ),
    row(
        "lift_mass",
        "a lift not in the plan",
        three_lifts,
        plan=lambda p: spoils.portion(p, lift=7),
    ),
    row(
        "lift_mass",
        "portions a kilogram short",
        single,
        lambda p: spoils.pour(p, layers=(weeks.Layer(20, 5), weeks.Layer(20, 6))),
        lambda p: spoils.lift(p, mass_kg=11),
    ),
    row(
        "lift_mass",
        "a portion of nothing",
        single,
        lambda p: spoils.system(p, least_batch_kg=0),
        lambda p: with_another_pot(p, Portion("P", 0, 0, 530, 531), 0.2, weeks.uses(0.16, 0.04)),
    ),
    row(
        "lift_mass",
        "a kilogram for a lift nobody planned",
        single,
        plan=lambda p: with_another_pot(
            p, Portion("P", 7, 1, 530, 531), 1.21, weeks.uses(0.968, 0.242)
        ),
    ),
    row(
        "batch_mass",
        "mixed without the residue",
        single,
        plan=lambda p: spoils.figures(
            spoils.batch(p, mixed_kg=10, lots=weeks.uses(8, 2)), residue_kg=0
        ),
    ),
    row("batch_mass", "over the vessel", single, lambda p: spoils.system(p, vessel_kg=10.2)),
    row("batch_mass", "over the mixer", single, lambda p: spoils.mixer(p, largest_kg=10.2)),
    row("batch_mass", "under the mixer", single, lambda p: spoils.mixer(p, least_kg=10.4)),
    row("batch_mass", "under the system", single, lambda p: spoils.system(p, least_batch_kg=11)),
    row(
        "batch_mass",
        "an empty pot",
        single,
        lambda p: spoils.system(p, least_batch_kg=0),
        lambda p: spoils.figures(
            replace(
                p,
                batches=(
                    *p.batches,
                    weeks.batch("B2", (600, 610, 615, 615, 620), 0.2, (), weeks.uses(0.16, 0.04)),
                ),
            ),
            pots=2,
            residue_kg=0.5,
        ),
    ),
    row("batch_clock", "weighed faster", single, lambda p: spoils.system(p, weigh_min=11)),
    row("batch_clock", "mixed faster", single, lambda p: spoils.system(p, mix_min=6)),
    row("batch_clock", "poured slower", single, lambda p: spoils.system(p, pour_rate_kg_min=3)),
    row(
        "batch_clock",
        "5.1 min of pouring is 6",
        single,
        lambda p: spoils.system(p, pour_rate_kg_min=1.96),
    ),
    row("batch_clock", "moved faster", shared, lambda p: spoils.system(p, move_min=3)),
    row("batch_clock", "not cleaned", single, lambda p: spoils.system(p, clean_min=6)),
    row("pot_life", "a minute over", single, lambda p: spoils.clocks(p, pot_life_min=11)),
    row(
        "pot_life",
        "without the margin",
        single,
        lambda p: spoils.settings(p, pot_life_factor=0.16),
    ),
    row(
        "pot_life",
        "on the hot day",
        matched,
        lambda p: spoils.system(
            p, conditions=(weeks.CLOCKS, replace(weeks.CLOCKS, from_min=2 * DAY, pot_life_min=11))
        ),
    ),
    row("sharing", "switched off", shared, lambda p: spoils.settings(p, allow_sharing=False)),
    row("sharing", "not this pour", shared, lambda p: spoils.pour(p, 1, may_share=False)),
    row(
        "sharing",
        "too many for the shop",
        shared,
        lambda p: spoils.settings(p, most_tools_per_batch=1),
    ),
    row(
        "sharing",
        "too many for the system",
        shared,
        lambda p: spoils.system(p, most_tools_per_batch=1),
    ),
    row(
        "sharing",
        "another system's pour",
        shared,
        lambda p: spoils.pour(
            replace(p, systems=(SYSTEM, replace(SYSTEM, id="T"))), 1, system="T"
        ),
    ),
    row(
        "sharing",
        "a pot of a system nobody has",
        single,
        plan=lambda p: spoils.figures(
            replace(
                p,
                batches=(
                    *p.batches,
                    replace(weeks.batch("B2", (600, 610, 615, 615, 620), 0.2, (), ()), system="X"),
                ),
            ),
            pots=2,
            residue_kg=0.5,
        ),
    ),
    row(
        "sharing",
        "two portions for one pour",
        single,
        lambda p: spoils.system(p, move_min=0),
        lambda p: spoils.batch(
            p, portions=(Portion("P", 0, 4, 500, 502), Portion("P", 0, 6, 502, 505))
        ),
    ),
]
