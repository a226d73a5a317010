"""What stays when pours come off: a lift that moves keeps clear of its own abrading."""

import pytest

from planning.core.problem import Layer
from planning.core.solver.board import Placed, Work
from planning.core.solver.case import Case
from planning.core.solver.ovens import NO_OVEN
from planning.core.solver.removal import _gap_ok
from tests.planning.core.small_weeks import clocks, pour, problem, system


def upper_lift(*abrading: tuple[int, int]):
    """Return a pour of two lifts, and it planned with an abrading before the upper one."""
    gaps = clocks(gap_least_min=120, gap_greatest_min=900)
    lifts = system(deepest_lift_mm=40.0, conditions=(gaps,))
    layers = (Layer(40.0, 4.0), Layer(40.0, 4.0))
    job = Case(problem(pour("A", layers=layers), systems=(lifts,))).jobs[0]
    works = tuple(Work("abrade", 1, a, b, (), NO_OVEN, 0, False) for a, b in abrading)
    return job, Placed(works, (), 0, 0, 0, 0, 0, 0)


@pytest.mark.parametrize(
    ("abrading", "start", "holds"),
    [
        pytest.param((), 119, False, id="too soon"),
        pytest.param((), 120, True, id="in the window"),
        pytest.param((), 901, False, id="past the window"),
        pytest.param(((880, 900),), 901, True, id="past the window, abraded"),
        pytest.param(((880, 900),), 890, False, id="in the window, while it is abraded"),
        pytest.param(((100, 115),), 500, False, id="abraded too soon"),
    ],
)
def test_the_gap_to_the_lift_below_counts_the_abrading_between(abrading, start, holds):
    job, placed = upper_lift(*abrading)
    assert _gap_ok(job, placed, 1, 0, start) is holds
