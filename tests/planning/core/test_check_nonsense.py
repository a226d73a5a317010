"""Whatever a plan says, the check answers with breaches and never fails itself."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.check import RULES, check
from planning.core.plan import Batch, Figures, Lift, LotUse, Plan, Portion, Stand, Task, Unplaced
from tests.planning.core import spoils, weeks

IDS = st.sampled_from(["P", "Q", "S", "M1", "bench1", "oven1", "ann", "coat", "strip", "", "?"])
MINUTES = st.integers(-(10**12), 10**12) | st.integers(400, 600)
AMOUNTS = st.floats() | st.floats(0, 50)
NUMBERS = st.integers(-3, 5)
PORTIONS = st.builds(Portion, IDS, NUMBERS, AMOUNTS, MINUTES, MINUTES)
USES = st.builds(LotUse, st.sampled_from("RH?"), st.sampled_from(["R1", "H1"]), IDS, AMOUNTS)


def many(strategy):
    return st.lists(strategy, max_size=4).map(tuple)


BATCHES = st.builds(
    Batch,
    *[IDS] * 3,
    many(IDS),
    *[MINUTES] * 5,
    AMOUNTS,
    many(PORTIONS),
    many(USES),
)
KINDS = st.sampled_from(["before", "after", "abrade"])
PLANS = st.builds(
    Plan,
    many(st.builds(Lift, IDS, NUMBERS, NUMBERS, NUMBERS, AMOUNTS, AMOUNTS)),
    many(BATCHES),
    many(
        st.builds(
            Task,
            IDS,
            KINDS,
            IDS,
            many(IDS),
            MINUTES,
            MINUTES,
            st.none() | NUMBERS,
            IDS,
            st.none() | MINUTES,
        )
    ),
    many(st.builds(Stand, IDS, IDS, MINUTES, MINUTES)),
    many(st.builds(Unplaced, IDS, IDS, IDS)),
    st.builds(Figures, NUMBERS, MINUTES, NUMBERS, AMOUNTS, MINUTES),
)


@settings(max_examples=300, deadline=None)
@given(plan=PLANS, previous=PLANS)
def test_any_plan_gets_an_answer_in_known_rules(plan, previous):
    load, _ = weeks.shared()
    load = replace(spoils.settings(load, freeze_until_min=500), previous=previous)
    found = check(load, plan)
    assert {violation.rule for violation in found} <= set(RULES)
    assert all(violation.words for violation in found)


@pytest.mark.parametrize(
    ("plan", "rules"),
    [
        pytest.param(
            lambda plan: spoils.batch(plan, mixed_kg=math.nan),
            {"batch_mass", "lot_mass", "figures"},
            id="mixed mass",
        ),
        pytest.param(
            lambda plan: spoils.portion(plan, kg=math.nan),
            {"lift_mass", "batch_mass", "figures"},
            id="portion",
        ),
        pytest.param(
            lambda plan: spoils.portion(plan, kg=math.inf),
            {"lift_mass", "batch_mass", "figures"},
            id="endless portion",
        ),
        pytest.param(
            lambda plan: spoils.lift(plan, depth_mm=math.nan), {"lift_depth"}, id="lift depth"
        ),
        pytest.param(
            lambda plan: spoils.batch(plan, lots=weeks.uses(math.nan, 2.06)),
            {"lot_mass"},
            id="lot",
        ),
    ],
)
def test_what_is_not_a_number_keeps_no_rule(plan, rules):
    load, planned = weeks.single()
    assert {violation.rule for violation in check(load, plan(planned))} == rules


def test_frozen_work_is_excused_but_not_what_is_planned_around_it():
    load, plan = weeks.frozen()
    late_strip = spoils.task(plan, start_min=1370, end_min=1400)
    rules = {violation.rule for violation in check(load, late_strip)}
    assert rules == {"cure", "shift", "figures"}


def test_two_frozen_stands_in_one_place_are_a_fact_and_a_third_is_a_breach():
    load, plan = weeks.shared()
    plan = spoils.stand(plan, 1, place="bench1")
    both = replace(load, frozen=replace(load.frozen, stands=plan.stands))
    assert check(both, plan) == []
    one = replace(load, frozen=replace(load.frozen, stands=plan.stands[:1]))
    assert [violation.rule for violation in check(one, plan)] == ["place"]


def test_without_lots_to_check_none_are_asked_for():
    load, plan = weeks.single()
    assert check(replace(load, lots=(), check_lots=False), spoils.batch(plan, lots=())) == []
