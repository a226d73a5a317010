"""Clocks of lifts on a mould that is held colder or warmer than the shop."""

from dataclasses import replace

import pytest

from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import Reading
from planning.core.casting.faces import Face
from tests.planning.core.casting.demo_resin import SHEET
from tests.planning.core.casting.test_model_clock import LIFT, aired, logged

OPENING = ("peak", "opens", "demould", "cured")
BARE = replace(LIFT, system=replace(LIFT.system, kinetics=None, datasheet=SHEET))
KINDS = pytest.mark.parametrize("lift", [LIFT, BARE], ids=["kinetics", "data sheet"])


@KINDS
@pytest.mark.parametrize("mould_c", [10.0, 16.0])
def test_a_colder_mould_opens_later_and_closes_no_later(lift, mould_c):
    cold, plain = clocks_of(replace(lift, mould_c=mould_c)), clocks_of(lift)
    for name in OPENING:
        before, after = getattr(plain, name).go_h, getattr(cold, name).go_h
        assert (before is None) == (after is None) or after is None, name
        assert after is None or after >= before, name
    assert cold.cured.go_h is None or cold.cured.go_h > 1.05 * plain.cured.go_h
    if plain.closes.go_h is not None:
        assert cold.closes.go_h <= plain.closes.go_h


@KINDS
def test_a_warmer_mould_opens_nothing_sooner_and_closes_sooner(lift):
    warm, plain = clocks_of(replace(lift, mould_c=35.0)), clocks_of(lift)
    for name in OPENING:
        before, after = getattr(plain, name).go_h, getattr(warm, name).go_h
        assert after is None or after >= before, name
    assert warm.peak.range_h[0] <= plain.peak.range_h[0]
    if plain.closes.go_h is not None:
        assert warm.closes.go_h < plain.closes.go_h
        assert warm.closes.best_h < 0.9 * plain.closes.best_h or lift is BARE


@pytest.mark.parametrize("read", [False, True])
def test_a_mould_as_warm_as_the_shop_is_as_none(read):
    lift = replace(LIFT, now_h=6.0, readings=aired(22.0, 6.0) + logged("core", 27.5, 6.0) * read)
    same, plain = (
        clocks_of(replace(lift, mould_c=22.0, base=Face(50.0))),
        clocks_of(replace(lift, base=Face(50.0))),
    )
    for name in (*OPENING, "closes"):
        assert getattr(same, name).go_h == pytest.approx(getattr(plain, name).go_h, rel=2e-3), name


@pytest.mark.parametrize(("mould_c", "film"), [(8.0, 50.0), (8.0, 5.0), (38.0, 50.0)])
def test_what_is_true_of_a_held_mould_never_opens_early(mould_c, film):
    """A curve solved with the mould held is logged; the clocks may not open before it is done."""
    from planning.core.casting.exotherm import solve_lift

    really = replace(LIFT, base=Face(film, mould_c))
    curve = solve_lift(really.system, 55.0, 22.0, really.base, really.top)
    need = really.system.demould_conversion
    done = [h for h, a, b in zip(curve.times_h, curve.core_conversion, curve.top_conversion,
                                 strict=True) if min(a, b) >= need]  # fmt: skip
    log = logged("core", 27.5, 12.0, lift=really)
    seen = replace(LIFT, mould_c=mould_c, now_h=12.0, readings=log + aired(22.0, 12.0))
    told = clocks_of(seen).cured.go_h
    assert told is None or not done or told >= done[0]


def test_a_mould_too_hot_to_handle_waits_for_a_cool_face():
    hot = replace(LIFT, mould_c=60.0)
    asked = clocks_of(hot)
    assert asked.demould.go_h is None
    assert asked.needs_cool_reading
    assert "surface" in asked.asks
    late = asked.cured.go_h + 40.0
    cool = Reading(late + 1 / 3600, 41.0, "surface")
    seen = replace(hot, now_h=late + 1.0, readings=(cool,))
    assert clocks_of(seen).demould.go_h == pytest.approx(cool.hour)
    warm = Reading(late + 0.5, 50.0, "surface")
    assert clocks_of(replace(seen, readings=(cool, warm))).demould.go_h is None
