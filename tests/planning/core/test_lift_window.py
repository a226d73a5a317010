"""A lift above poured ones follows the clock that runs there, not the planned gaps."""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plan import Frozen
from planning.core.problem import LiftWindow, Limits
from planning.core.week import plan_week
from tests.planning.core.weeks import pour, problem


def half_poured(window):
    """Return a week whose pour of three lifts has its first one in, by 08:30 to 09:30 or so."""
    high = pour("P", layers=((60, 5), (60, 5), (60, 5)))
    asked = replace(problem(high), limits=Limits(5.0, 1, work=300))
    plan = plan_week(asked)
    first = min(plan.batches, key=lambda b: b.start_min)
    assert [p.lift for p in first.portions] == [0]
    frozen = Frozen(
        tuple(x for x in plan.lifts if x.lift == 0), (first,),
        tuple(t for t in plan.tasks if t.kind == "before"), plan.stands,
    )  # fmt: skip
    end = first.portions[0].end_min
    opens, closes = (end + minutes for minutes in window)
    again = replace(asked.pours[0], window=LiftWindow(1, opens, closes))
    return replace(asked, pours=(again,), frozen=frozen, previous=plan), end


def starts(plan, lift):
    return min(p.start_min for b in plan.batches for p in b.portions if p.lift == lift)


@pytest.mark.parametrize("opens", [150, 175, 60])
def test_the_next_lift_waits_for_the_clock(opens):
    asked, end = half_poured((opens, 600))
    plan = plan_week(replace(asked, previous=None))
    assert check(asked, plan) == []
    assert starts(plan, 1) >= end + opens
    if opens == 60:
        assert starts(plan, 1) < end + 120, "the clock opens before the planned gap"
    gap = starts(plan, 2) - max(p.end_min for b in plan.batches for p in b.portions if p.lift == 1)
    assert gap >= 120, "the lift above it keeps the planned gap"


def test_a_window_that_is_closed_is_abraded_for():
    asked, end = half_poured((120, 119))
    plan = plan_week(asked)
    assert check(asked, plan) == []
    (abrade,) = [t for t in plan.tasks if t.kind == "abrade" and t.lift == 1]
    assert end + 120 <= abrade.start_min < abrade.end_min <= starts(plan, 1)


def test_the_check_names_a_lift_before_its_clock_and_one_after_it_without_abrading():
    asked, end = half_poured((120, 600))
    plan = plan_week(asked)
    start = starts(plan, 1)
    for window in ((start + 1, start + 50), (start - 60, start - 1)):
        spoiled = replace(
            asked, pours=(replace(asked.pours[0], window=LiftWindow(1, *window)),), previous=None
        )
        assert {one.rule for one in check(spoiled, plan)} == {"lift_gap"}
    assert start >= end + 120
