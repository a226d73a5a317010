"""Small changes to a problem or a plan: each takes one and returns it, something changed."""

from dataclasses import replace

import pytest

from planning.core.problem import Lot
from tests.planning.core import weeks


def same(given):
    return given


def row(rule, sentence, week, load=same, plan=same):
    """Return the rule that `week` breaks once its problem or its plan is changed."""
    return pytest.param(rule, week, load, plan, id=f"{rule}: {sentence}")


def without(plan, group, number):
    things = getattr(plan, group)
    return replace(plan, **{group: things[:number] + things[number + 1 :]})


def _nth(things, number, changes):
    changed = list(things)
    changed[number] = replace(changed[number], **changes)
    return tuple(changed)


def batch(plan, number=0, **changes):
    return replace(plan, batches=_nth(plan.batches, number, changes))


def moved(plan, minutes, number=0):
    """Move a whole batch in time."""
    one = plan.batches[number]
    names = ("start_min", "contact_min", "pour_start_min", "pour_end_min", "end_min")
    portions = tuple(
        replace(p, start_min=p.start_min + minutes, end_min=p.end_min + minutes)
        for p in one.portions
    )
    times = {name: getattr(one, name) + minutes for name in names}
    return batch(plan, number, portions=portions, **times)


def portion(plan, number=0, **changes):
    """Change one portion of the first batch."""
    return batch(plan, portions=_nth(plan.batches[0].portions, number, changes))


def task(plan, number=0, **changes):
    return replace(plan, tasks=_nth(plan.tasks, number, changes))


def lift(plan, number=0, **changes):
    return replace(plan, lifts=_nth(plan.lifts, number, changes))


def stand(plan, number=0, **changes):
    return replace(plan, stands=_nth(plan.stands, number, changes))


def figures(plan, **changes):
    return replace(plan, figures=replace(plan.figures, **changes))


def pour(load, number=0, **changes):
    return replace(load, pours=_nth(load.pours, number, changes))


def step(load, kind, number=0, **changes):
    """Change one step before or after the first pour."""
    return pour(load, **{kind: _nth(getattr(load.pours[0], kind), number, changes)})


def system(load, **changes):
    return replace(load, systems=_nth(load.systems, 0, changes))


def clocks(load, **changes):
    return system(load, conditions=(replace(weeks.CLOCKS, **changes),))


def settings(load, **changes):
    return replace(load, settings=replace(load.settings, **changes))


def place(load, number=0, **changes):
    return replace(load, places=_nth(load.places, number, changes))


def mixer(load, number=0, **changes):
    return replace(load, mixers=_nth(load.mixers, number, changes))


def person(load, number=0, **changes):
    return replace(load, people=_nth(load.people, number, changes))


def resin(load, **changes):
    """Change the resin's only container."""
    can = replace(load.lots[0].containers[0], **changes)
    return replace(load, lots=(Lot("R", "resin", (can,)), *load.lots[1:]))
