"""Scale targets against brute force over every mass a reading can hide."""

import math
from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.casting.mixing import MixRatio
from planning.core.casting.weighing import smallest_honest_batch_g, weigh_targets


def worst_by_corners(ratio, resin, hardener, d_resin, d_hardener):
    """Ratio error at the four corners of what the two readings can hide, exactly."""
    ideal = Fraction(str(ratio.hardener_per_100)) / 100
    corners = product((-1, 1), (-1, 1))
    return max(
        abs((hardener + i * d_hardener / 2) / (resin + j * d_resin / 2) / ideal - 1)
        for i, j in corners
    )


ratios = st.builds(
    MixRatio,
    st.sampled_from([8.0, 12.0, 13.5, 25.0, 42.7, 100.0]),
    st.sampled_from([1.0, 2.0, 5.0]),
)
divisions = st.sampled_from([0.1, 0.5, 1.0, 2.0, 5.0])


@settings(max_examples=200, deadline=None)
@given(ratios, st.floats(5, 20_000), divisions, divisions)
def test_targets_are_on_the_division_and_tell_their_worst_case(ratio, total_g, d_r, d_h):
    t = weigh_targets(ratio, total_g, d_r, d_h)
    resin, hardener = Fraction(str(t.resin_g)), Fraction(str(t.hardener_g))
    dr, dh = Fraction(str(d_r)), Fraction(str(d_h))
    assert resin % dr == 0
    assert hardener % dh == 0
    assert resin + hardener >= Fraction(repr(total_g))
    if hardener > dh / 2 and resin > dr / 2:
        worst = worst_by_corners(ratio, resin, hardener, dr, dh)
        assert t.worst_error_percent == pytest.approx(float(100 * worst), rel=1e-12)
        assert t.within_tolerance == (100 * worst <= Fraction(str(ratio.tolerance_percent)))
    else:
        assert not t.within_tolerance


@settings(max_examples=60, deadline=None)
@given(ratios, st.sampled_from([0.5, 1.0, 2.0]))
def test_every_batch_from_the_smallest_honest_one_on_keeps_its_tolerance(ratio, division):
    least = smallest_honest_batch_g(ratio, division)
    assert all(
        weigh_targets(ratio, least + i * 0.37 * division, division).within_tolerance
        for i in range(400)
    )
    d = Fraction(str(division))
    resin = Fraction(str(weigh_targets(ratio, least, division).resin_g)) - d
    ideal = Fraction(str(ratio.hardener_per_100)) / 100
    hardener = round(ideal * resin / d) * d
    worst = worst_by_corners(ratio, resin, hardener, d, d)
    assert 100 * worst > Fraction(str(ratio.tolerance_percent))


def test_smallest_honest_batch_by_hand():
    """
    100:12, 2 %, scale to 1 g, worked on paper.

    A resin reading n with hardener reading h can hide (h + 1/2)/(n - 1/2), so a perfect h = 0.12 n
    needs 0.0024 n >= 0.5 + 0.0612, n >= 233.8. Hardener is read in whole grams, so n between two
    grams of it is off by up to half a gram more; the last count that fails is 429 (51.48 g shown
    as 51 g, which may be 50.5 of 429.5 g: 2.02 % poor). From 430 g (52 g) on all keep 2 %.
    """
    ratio = MixRatio(12.0, 2.0)
    assert smallest_honest_batch_g(ratio, 1.0) == 482.0
    poor = 1 - Fraction("50.5") / Fraction("429.5") / Fraction("0.12")
    assert poor > Fraction("0.02")


def test_finer_hardener_scale_allows_a_much_smaller_batch():
    ratio = MixRatio(12.0, 2.0)
    assert smallest_honest_batch_g(ratio, 1.0, 0.1) < smallest_honest_batch_g(ratio, 1.0) / 3


def test_bounds_shown_while_weighing_keep_the_ratio_and_one_division_more_does_not():
    ratio = MixRatio(12.0, 2.0)
    t = weigh_targets(ratio, 5600.0, 1.0)
    d = Fraction(1)
    tolerance = Fraction(2, 100)

    def worst(resin, hardener):
        return worst_by_corners(ratio, Fraction(resin), Fraction(hardener), d, d)

    assert worst(t.resin_g, t.hardener_low_g) <= tolerance < worst(t.resin_g, t.hardener_low_g - 1)
    assert worst(t.resin_g, t.hardener_high_g) <= tolerance
    assert worst(t.resin_g, t.hardener_high_g + 1) > tolerance
    assert worst(t.resin_low_g, t.hardener_g) <= tolerance < worst(t.resin_low_g - 1, t.hardener_g)
    assert worst(t.resin_high_g, t.hardener_g) <= tolerance
    assert worst(t.resin_high_g + 1, t.hardener_g) > tolerance


def test_mass_the_scale_cannot_see_is_never_honest():
    t = weigh_targets(MixRatio(2.0, 5.0), 3.0, 1.0)
    assert not t.within_tolerance
    assert math.isfinite(t.worst_error_percent)


@pytest.mark.parametrize(("total_g", "division", "said"), [
    (0.0, 1.0, "total_g is 0; it must be above 0"),
    (100.0, 0.0, "resin_readability_g is 0; it must be above 0"),
])  # fmt: skip
def test_nonsense_is_refused(total_g, division, said):
    with pytest.raises(ValueError, match=said):
        weigh_targets(MixRatio(12.0), total_g, division)
