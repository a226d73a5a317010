"""How suppliers deliver, by hand; and resin with hardener, by hand and by mass balance."""

from datetime import date
from decimal import Decimal

import pytest

from shop.core.proportion import Ratio, groups, proportions
from shop.core.supplying import Arrival, Line, performance

D = Decimal


def day(n):
    return date(2026, 11, n)


LINES = [
    Line(D(10), day(2), day(4), [(day(3), D(10))]),  # kept its promise, not the day asked
    Line(D(10), day(4), day(4), [(day(4), D(6)), (day(8), D(4))]),  # in two parts, 4 days late
    Line(D(10), day(4), day(4), [(day(4), D(9))]),  # short
    Line(D(10), day(4), day(4), [(day(2), D(10)), (day(2), D(-10))]),  # booked in by mistake
    Line(D(10), day(4), day(28), []),  # not due yet
]


def test_the_figures_of_a_supplier_by_hand():
    arrivals = [Arrival(True, 200, 180), Arrival(False, 90, 180), Arrival(True), Arrival(True, 5)]
    done = performance(LINES, arrivals, today=day(20))
    assert done.lines == 4
    assert (done.on_time.good, done.on_day_asked.good, done.in_full.good) == (1, 0, 2)
    assert done.mean_late_days == 2.0
    assert (done.sound.good, done.sound.of) == (3, 4)
    assert (done.fresh.good, done.fresh.of, done.fresh.percent) == (1, 2, 50.0)


def test_nothing_due_has_no_share():
    done = performance([], [], today=day(1))
    assert (done.on_time.percent, done.mean_late_days, done.fresh.percent) == (None, None, None)


def test_materials_that_share_a_resin_or_a_hardener_are_judged_together():
    found = groups([Ratio("A", "x", 10), Ratio("B", "y", 20), Ratio("C", "x", 30)])
    assert [(g.resins, g.hardeners) for g in found] == [(("A", "C"), ("x",)), (("B",), ("y",))]


@pytest.mark.parametrize(
    ("there", "verdict", "off"),
    [
        ({"A": 100, "x": 20}, "in proportion", 0),
        ({"A": 100, "x": 21.9}, "in proportion", 1.9),
        ({"A": 100, "x": 22.1}, "too much hardener", 2.1),
        ({"A": 100, "x": 17.9}, "too little hardener", -2.1),
        ({"x": 1}, "too much hardener", 1),
        ({}, "nothing", 0),
    ],
)
def test_hardener_beyond_a_tenth_off_is_said(there, verdict, off):
    [one] = proportions([Ratio("A", "x", 20)], there)
    assert (one.verdict, one.off_kg) == (verdict, pytest.approx(off))


def test_a_resin_with_two_hardeners_takes_any_of_their_ratios():
    ratios = [Ratio("A", "fast", 10), Ratio("A", "slow", 30)]
    for fast, slow, verdict in (
        (10, 0, "in proportion"),
        (0, 30, "in proportion"),
        (4, 4, "too little hardener"),
        (10, 30, "too much hardener"),
    ):
        [one] = proportions(ratios, {"A": 100, "fast": fast, "slow": slow})
        assert one.verdict == verdict
    with pytest.raises(ValueError, match="per_100 is 0"):
        proportions([Ratio("A", "x", 0)], {})
