"""Bounds of rows against brute force: every combination of corners keeps the ratio."""

from decimal import Decimal
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planning.core.casting.line_bounds import WeighRow, bounds_of
from planning.core.casting.mixing import MixRatio
from planning.core.casting.weighing import smallest_honest_batch_g, weigh_targets

ratios = st.builds(
    MixRatio,
    st.sampled_from([8.0, 12.0, 12.5, 25.0, 42.7, 100.0]),
    st.sampled_from([1.0, 2.0, 5.0]),
)
divisions = st.sampled_from(["0.1", "0.5", "1", "2", "5"])


@st.composite
def batches(draw):
    """A ratio, rows of up to three cans a component, and the scale's division."""
    ratio, division = draw(ratios), Decimal(draw(divisions))
    least = smallest_honest_batch_g(ratio, float(division))
    targets = weigh_targets(ratio, least * draw(st.floats(1.0, 40.0)), float(division))
    rows = []
    for role, grams in (("resin", targets.resin_g), ("hardener", targets.hardener_g)):
        cans, left = draw(st.integers(1, 3)), int(Decimal(repr(grams)) / division)
        assume(left >= cans)
        for n in range(cans, 0, -1):
            share = left if n == 1 else draw(st.integers(1, left - n + 1))
            rows.append(WeighRow(role, share * division))
            left -= share
    return ratio, rows, division


def corners(rows, bounds):
    """Yield resin and hardener for every corner of what the rows still open may become."""
    choices = [
        (bound.low_g, bound.high_g) if row.is_open else (row.weighed_g,)
        for row, bound in zip(rows, bounds, strict=True)
    ]
    for masses in product(*choices):
        yield tuple(
            sum((m for m, row in zip(masses, rows, strict=True) if row.role == role), Decimal(0))
            for role in ("resin", "hardener")
        )


@settings(max_examples=300, deadline=None)
@given(batches())
def test_every_combination_that_the_rows_allow_keeps_the_ratio(batch):
    ratio, rows, division = batch
    bounds = bounds_of(ratio, rows, division)
    for row, bound in zip(rows, bounds, strict=True):
        assert bound.aim_g == row.target_g
        assert bound.low_g <= bound.aim_g <= bound.high_g
        assert bound.low_g % division == bound.high_g % division == 0
    for resin, hardener in corners(rows, bounds):
        assert ratio.keeps(float(resin), float(hardener)), (resin, hardener)


@settings(max_examples=300, deadline=None)
@given(batches(), st.data())
def test_row_after_row_weighed_anywhere_within_its_bounds_ends_in_the_ratio(batch, data):
    """Each row is weighed within what is told for it then; other rows may come in any order."""
    ratio, rows, division = batch
    order = data.draw(st.permutations(range(len(rows))))
    for i in order:
        bound = bounds_of(ratio, rows, division)[i]
        span = int((bound.high_g - bound.low_g) / division)
        mass = bound.low_g + division * data.draw(st.sampled_from([0, span, span // 2]))
        rows[i] = WeighRow(rows[i].role, rows[i].target_g, mass)
    masses = {
        role: float(sum((row.weighed_g for row in rows if row.role == role), Decimal(0)))
        for role in ("resin", "hardener")
    }
    assert ratio.keeps(masses["resin"], masses["hardener"])


@settings(max_examples=100, deadline=None)
@given(batches())
def test_reading_errors_fit_in_as_well_on_a_batch_three_times_the_least(batch):
    ratio, rows, division = batch
    total = sum((row.target_g for row in rows), Decimal(0))
    assume(float(total) > len(rows) * smallest_honest_batch_g(ratio, float(division)))
    halves = {r: division / 2 * sum(row.role == r for row in rows) for r in ("resin", "hardener")}
    for resin, hardener in corners(rows, bounds_of(ratio, rows, division)):
        for i, j in product((-1, 1), repeat=2):
            off = float(resin + i * halves["resin"]), float(hardener + j * halves["hardener"])
            assert ratio.keeps(*off)


def test_two_cans_each_by_hand():
    """
    100:12.5, 2 %, 1 g: 2 x 500 g of resin and 2 x 62.5 g, rounded to 63 and 62.

    As before, each row alone at +- 2.5 g of hardener would add up to 4 %. The shares: 0.1275 x 999
    - 126 = 1.37 g too rich and 124 - 0.1225 x 1001 = 1.38 g too poor are left, over weights
    0.1275 x 2 x 22.36 + 7.94 + 7.87 = 21.5: a hardener row gets 0.5 g, no whole gram.
    """
    ratio, one = MixRatio(12.5, 2.0), Decimal(1)
    rows = [WeighRow("resin", Decimal(500)), WeighRow("resin", Decimal(500)),
            WeighRow("hardener", Decimal(63)), WeighRow("hardener", Decimal(62))]  # fmt: skip
    bounds = bounds_of(ratio, rows, one)
    assert [(b.low_g, b.high_g) for b in bounds[2:]] == [(63, 63), (62, 62)]
    assert [(b.low_g, b.high_g) for b in bounds[:2]] == [(499, 501), (499, 501)]


def test_the_last_hardener_follows_the_resin_that_is_there_with_the_whole_tolerance():
    ratio = MixRatio(12.5, 2.0)
    rows = [WeighRow("resin", Decimal(1000), Decimal(1008)), WeighRow("hardener", Decimal(125))]
    bound = bounds_of(ratio, rows, Decimal("0.1"))[1]
    assert bound.aim_g == Decimal(126)
    assert float(bound.high_g) == pytest.approx(126 * 1.02, abs=0.25)
    assert float(bound.low_g) == pytest.approx(126 * 0.98, abs=0.25)


def test_the_last_can_of_a_component_makes_up_for_the_others():
    ratio = MixRatio(12.5, 2.0)
    rows = [WeighRow("resin", Decimal(500), Decimal(504)), WeighRow("resin", Decimal(500)),
            WeighRow("hardener", Decimal(125))]  # fmt: skip
    assert bounds_of(ratio, rows, Decimal(1))[1].aim_g == 496


def test_a_row_of_which_no_more_comes_counts_as_it_is():
    ratio = MixRatio(12.5, 2.0)
    some, full = Decimal(300), Decimal(500)
    rows = [WeighRow("resin", full, some, True), WeighRow("resin", full, full),
            WeighRow("hardener", Decimal(125))]  # fmt: skip
    assert bounds_of(ratio, rows, Decimal(1))[2].aim_g == 100
