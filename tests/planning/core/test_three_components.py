"""A third component in the plan: the planner and the check agree about its stock."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.check import check
from planning.core.plan import LotUse
from planning.core.problem import Component, Container, Limits, Lot
from planning.core.week import plan_week
from tests.planning.core import weeks

FILLED = replace(
    weeks.SYSTEM, further=(Component("filler", "chalk", 40.0), Component("pigment", "black", 5.0))
)
"""Resin 100, filler 40, pigment 5, hardener 25: 170 in all."""
PLENTY = {"resin": 60.0, "hardener": 20.0, "chalk": 30.0, "black": 5.0}
SHARES = {"resin": 100 / 170, "hardener": 25 / 170, "filler": 40 / 170, "pigment": 5 / 170}


def shop(stock, pours=2):
    lots = tuple(
        Lot(name, name, tuple(Container(f"{name}{n}", kg, 9000) for n, kg in enumerate(cans)))
        for name, cans in stock.items()
    )
    return weeks.problem(
        *(weeks.pour(f"P{n}", layers=((20, 5),)) for n in range(pours)),
        systems=(FILLED,), lots=lots, limits=Limits(seconds=20, workers=1, work=30),
    )  # fmt: skip


def given_out(batch):
    found = {}
    for use in batch.lots:
        found[use.role] = found.get(use.role, 0.0) + use.kg
    return found


def test_each_pot_is_given_its_full_mass_of_every_component():
    problem = shop({name: [kg] for name, kg in PLENTY.items()})
    plan = plan_week(problem)
    assert check(problem, plan) == []
    assert not plan.unplaced
    for batch in plan.batches:
        wanted = {role: share * batch.mixed_kg for role, share in SHARES.items()}
        assert given_out(batch) == pytest.approx(wanted)
        roles = list(dict.fromkeys(use.role for use in batch.lots))
        assert (roles[0], roles[-1]) == ("resin", "hardener")


cans = st.lists(st.sampled_from([0.3, 0.9, 1.6, 3.0]), min_size=0, max_size=3)


@settings(max_examples=25, deadline=None)
@given(cans, st.lists(st.sampled_from([0.05, 0.2, 0.4]), max_size=3), st.integers(1, 3))
def test_planner_and_check_agree_about_stock_of_every_part(chalk, black, pours):
    problem = shop({"resin": [60.0], "hardener": [20.0], "chalk": chalk, "black": black}, pours)
    plan = plan_week(problem, reasons=False)
    assert check(problem, plan) == []
    mixed = 5 * 1.01 + 0.2
    fit = min(
        int(sum(chalk) / (mixed * 40 / 170) + 1e-6), int(sum(black) / (mixed * 5 / 170) + 1e-6)
    )
    assert len(plan.unplaced) >= pours - fit
    assert {one.rule for one in plan.unplaced} <= {"lot_mass"}
    # Pours may share a pot, which leaves less behind; so never fewer than fit alone are placed.
    assert pours - len(plan.unplaced) >= min(fit, pours)


def test_without_its_filler_or_with_another_material_a_plan_is_refused():
    problem = shop({name: [kg] for name, kg in PLENTY.items()}, pours=1)
    plan = plan_week(problem)
    (batch,) = plan.batches
    (chalk,) = [use for use in batch.lots if use.role == "filler"]
    others = tuple(use for use in batch.lots if use.role != "filler")
    for lots in (
        others,
        (*others, replace(chalk, lot="black", container="black0")),
        (*others, replace(chalk, kg=chalk.kg / 2)),
        (*batch.lots, LotUse("black", "black0", "paint", 0.1)),
    ):
        spoiled = replace(plan, batches=(replace(batch, lots=lots),))
        assert "lot_mass" in {one.rule for one in check(problem, spoiled)}
