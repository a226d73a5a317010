"""
Mixes of three and four components against brute force, and of two against the pair's own rules.

Parts per hundred resin (phr) by mass is the usual way to state filler, accelerator and pigment.
"""

import math
from decimal import Decimal
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planning.core.casting.components import bounds_of_rows, correct, targets_g, worst_off
from planning.core.casting.line_bounds import WeighRow, bounds_of
from planning.core.casting.mixing import MixRatio, correct_overpour
from planning.core.casting.weighing import weigh_targets

tolerances = st.sampled_from([1.0, 2.0, 5.0])
DIVISIONS = ["0.1", "0.5", "1", "2", "5"]


@st.composite
def ratios(draw):
    """Resin with one or two further components, and hardener last."""
    found = {
        "filler": MixRatio(draw(st.sampled_from([20.0, 50.0, 80.0, 150.0])), draw(tolerances))
    }
    if draw(st.booleans()):
        found["pigment"] = MixRatio(draw(st.sampled_from([3.0, 7.5])), draw(tolerances))
    return found | {
        "hardener": MixRatio(draw(st.sampled_from([12.0, 25.0, 42.7])), draw(tolerances))
    }


@st.composite
def batches(draw):
    """Ratios, the rows of a batch with up to two cans a component, and the scale's division."""
    mix, division = draw(ratios()), Decimal(draw(st.sampled_from(DIVISIONS)))
    total = float(division) * draw(st.integers(20_000, 400_000))
    rows = []
    for role, grams in targets_g(mix, total, division).items():
        whole = int(grams / division)
        first = draw(st.integers(1, whole)) if draw(st.booleans()) else whole
        rows += [WeighRow(role, n * division) for n in (first, whole - first) if n]
    return mix, rows, division


def kept(mix, grams):
    return all(ratio.keeps(float(grams["resin"]), float(grams[n])) for n, ratio in mix.items())


def sums(rows, masses):
    found = {}
    for row, mass in zip(rows, masses, strict=True):
        found[row.role] = found.get(row.role, Decimal(0)) + mass
    return found


@settings(max_examples=300, deadline=None)
@given(ratios(), st.sampled_from(DIVISIONS), st.integers(20_000, 400_000))
def test_targets_add_up_to_the_batch_in_whole_divisions_and_keep_every_ratio(mix, text, count):
    division = Decimal(text)
    total = count * division
    found = targets_g(mix, float(total), division)
    assert list(found) == ["resin", *mix]
    assert all(grams > 0 and grams % division == 0 for grams in found.values())
    # One division of resin more raises each other component by its share, rounded up, at most.
    most = sum(math.ceil(ratio.hardener_per_100 / 100) for ratio in mix.values())
    assert 0 <= sum(found.values()) - total <= most * division
    assert kept(mix, found)


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from([8.0, 12.5, 42.7, 100.0]), st.sampled_from(DIVISIONS), st.floats(500, 50_000)
)
def test_of_two_components_targets_are_those_of_the_pair(per_100, text, total):
    ratio, division = MixRatio(per_100), Decimal(text)
    pair = weigh_targets(ratio, total, float(division))
    found = targets_g({"hardener": ratio}, total, division)
    assert {name: float(g) for name, g in found.items()} == {
        "resin": pair.resin_g,
        "hardener": pair.hardener_g,
    }


@settings(max_examples=200, deadline=None)
@given(batches())
def test_every_combination_that_the_rows_allow_keeps_every_ratio(batch):
    mix, rows, division = batch
    bounds = bounds_of_rows(mix, rows, division)
    for row, bound in zip(rows, bounds, strict=True):
        assert bound.low_g <= bound.aim_g <= bound.high_g
        assert bound.aim_g == row.target_g
        assert bound.low_g % division == bound.high_g % division == 0
    for masses in product(*((bound.low_g, bound.high_g) for bound in bounds)):
        assert kept(mix, sums(rows, masses)), masses


@settings(max_examples=200, deadline=None)
@given(batches(), st.data())
def test_row_after_row_weighed_anywhere_within_its_bounds_ends_in_every_ratio(batch, data):
    mix, rows, division = batch
    for i in data.draw(st.permutations(range(len(rows)))):
        bound = bounds_of_rows(mix, rows, division)[i]
        span = int((bound.high_g - bound.low_g) / division)
        mass = bound.low_g + division * data.draw(st.sampled_from([0, span, span // 2]))
        rows[i] = WeighRow(rows[i].role, rows[i].target_g, mass)
    assert kept(mix, sums(rows, [row.weighed_g for row in rows]))


@settings(max_examples=200, deadline=None)
@given(batches(), st.data())
def test_a_pot_off_its_ratios_comes_right_by_what_is_asked_to_be_added(batch, data):
    mix, rows, division = batch
    grams = {
        name: float(kg) * data.draw(st.floats(0.8, 1.2))
        for name, kg in sums(rows, [row.target_g for row in rows]).items()
    }
    grams = {n: float(round(Decimal(g) / division) * division) for n, g in grams.items()}
    assume(all(g > 0 for g in grams.values()))
    for _ in range(2 * len(mix) + 1):
        found = correct(mix, grams, float(division))
        assert found.new_total_g == pytest.approx(sum(grams.values()) + found.add_g)
        if found.within_tolerance:
            break
        assert found.add_g > 0
        grams[found.add] += found.add_g
    assert kept(mix, grams)
    assert worst_off(mix, {n: Decimal(repr(g)) for n, g in grams.items()}).within


def test_by_hand_filler_50_phr_and_hardener_12_phr():
    mix = {"filler": MixRatio(50.0, 2.0), "hardener": MixRatio(12.0, 2.0)}
    assert targets_g(mix, 1620.0, Decimal(1)) == {"resin": 1000, "filler": 500, "hardener": 120}
    # 30 g of filler too much want 60 g more of resin, and these 7 g more of hardener.
    first = correct(mix, {"resin": 1000.0, "filler": 530.0, "hardener": 120.0}, 1.0)
    assert (first.add, first.add_g, first.new_total_g) == ("resin", 60.0, 1710.0)
    then = correct(mix, {"resin": 1060.0, "filler": 530.0, "hardener": 120.0}, 1.0)
    assert (then.add, then.add_g) == ("hardener", 7.0)


def test_of_two_components_bounds_and_corrections_are_those_of_the_pair():
    ratio, rows = (
        MixRatio(12.0, 2.0),
        [WeighRow("resin", Decimal(900)), WeighRow("hardener", Decimal(108))],
    )
    assert bounds_of_rows({"hardener": ratio}, rows, Decimal(1)) == bounds_of(
        ratio, rows, Decimal(1)
    )
    pot = {"resin": 1000.0, "hardener": 130.0}
    assert correct({"hardener": ratio}, pot, 1.0) == correct_overpour(ratio, 1000.0, 130.0, 1.0)


def test_nothing_is_said_of_the_ratio_while_a_component_is_missing():
    mix = {"filler": MixRatio(50.0), "hardener": MixRatio(12.0)}
    assert worst_off(mix, {"resin": Decimal(1000), "hardener": Decimal(120)}) is None
