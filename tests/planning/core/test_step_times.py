"""Hands-on times learned from records: by hand, n / (n + 4) of the way to the middle record."""

import pytest

from planning.core.step_times import Pace, pace_of


@pytest.mark.parametrize(
    ("records", "factor", "count", "left_out"),
    [
        pytest.param([], 1.0, 0, 0, id="nothing recorded"),
        pytest.param([(60, 20)] * 2, 1.0, 2, 0, id="two say too little"),
        pytest.param([(30, 20)] * 4, 1 + 4 / 8 * 0.5, 4, 0, id="four go half the way"),
        pytest.param([(10, 20)] * 36, 1 - 36 / 40 * 0.5, 36, 0, id="many go nearly all the way"),
        pytest.param([(20, 20), (30, 20), (79, 20)], 1 + 3 / 7 * 0.5, 3, 0, id="middle, not mean"),
        pytest.param([(30, 20)] * 3 + [(300, 20)], 1 + 3 / 7 * 0.5, 3, 1, id="a slip is left out"),
        pytest.param([(15, 10), (30, 20), (60, 40)], 1 + 3 / 7 * 0.5, 3, 0, id="other templates"),
    ],
)
def test_the_factor_goes_from_the_template_towards_the_middle_record(
    records, factor, count, left_out
):
    pace = pace_of(records)
    assert pace.factor == pytest.approx(factor)
    assert (pace.records, pace.left_out) == (count, left_out)


def test_one_wild_record_in_seven_moves_nothing():
    steady = pace_of([(24, 20)] * 7)
    assert pace_of([(24, 20)] * 6 + [(75, 20)]).factor == steady.factor


@pytest.mark.parametrize(
    ("factor", "template", "minutes"), [(1.25, 20, 25), (1.25, 10, 13), (0.3, 1, 1), (2, 0, 0)]
)
def test_minutes_are_whole_and_never_none_where_there_is_work(factor, template, minutes):
    assert Pace(factor).minutes(template) == minutes


def test_a_template_without_minutes_has_no_pace():
    with pytest.raises(ValueError, match="no pace"):
        pace_of([(5, 0)])
