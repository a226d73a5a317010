"""Edges and corners: the factor is checked against sections solved directly, far figures too."""

from dataclasses import replace

import numpy as np
import pytest

from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import AIR as ROOM
from planning.core.casting.clock_types import CORE, PouredLift, Reading
from planning.core.casting.edges import Mould, edge_shares, section_in, with_edges
from planning.core.casting.exotherm import solve_lift
from planning.core.casting.faces import INSULATED
from planning.core.casting.section import LONG, ROUND, Section
from planning.core.casting.section_figures import section_figures
from planning.core.casting.system import GlassTransition
from tests.planning.core.casting.demo_resin import AIR, BOARD, BOTH, DEMO, SHEET_ONLY

GLASS = GlassTransition(-20.0, 88.0, 0.45)
SYSTEM = replace(DEMO, glass=GLASS, demould_conversion=0.70, bond_conversion=0.75)


def square(width):
    """A square mould of board, so wide."""
    return Mould(width * width, length_mm=width, width_mm=width)


def section(mould, depth=60.0):
    return section_in(mould, depth, BOARD, AIR)


def poured(depth=60.0, shop_c=22.0, readings=(), now_h=0.0, **more):
    given = {"system": SYSTEM, "night_c": 15.0} | more
    return PouredLift(
        depth_mm=depth, base=BOARD, top=AIR, now_h=now_h, expected_c=shop_c, readings=readings,
        **given,
    )  # fmt: skip


def model_log(lift, until_h):
    """What a sensor in the middle of a wide lift of the model shows, with the room's air."""
    curve = solve_lift(lift.system, lift.depth_mm, lift.expected_c, BOARD, AIR)
    hours = np.arange(0.25, until_h, 0.5).tolist()
    core = np.interp(hours, curve.times_h, curve.core_c).tolist()
    return tuple(
        [Reading(h, c, CORE) for h, c in zip(hours, core, strict=True)]
        + [Reading(h, lift.expected_c, ROOM) for h in hours]
    )


def seen_of(lift, now_h=14.0):
    return replace(lift, readings=model_log(lift, now_h), now_h=now_h)


@pytest.mark.parametrize("seed", range(6))
def test_factor_is_at_least_that_of_the_section_solved_directly(seed):
    rng = np.random.default_rng(seed)
    depth = float(rng.uniform(15.0, 80.0))
    shape = LONG if seed % 2 else ROUND
    cast = Section(shape, depth * float(rng.uniform(1.0, 15.0)), depth, BOARD, BOARD, AIR)
    shop_c = float(rng.uniform(16.0, 29.0))
    direct, shares = section_figures(SYSTEM, cast, shop_c), edge_shares(SYSTEM, cast, shop_c)
    for name, mine, wide in (
        ("gelled", direct.section.gelled_h, direct.wide.gelled_h),
        ("cured", direct.section.cured_h, direct.wide.cured_h),
        ("demould", direct.section.demould_h, direct.wide.demould_h),
    ):
        assert getattr(shares, name) >= max(1.0, 0.99 * mine / wide), name


def test_factor_is_never_below_one():
    warm_sides = replace(BOARD, around_c=60.0)
    cast = Section(LONG, 60.0, 60.0, BOARD, warm_sides, AIR)
    assert min(vars(edge_shares(SYSTEM, cast, 22.0)).values()) == 1.0
    assert min(vars(edge_shares(SHEET_ONLY, cast, 22.0)).values()) == 1.0


def test_unknown_width_has_the_largest_factor():
    unknown = Mould(40_000.0)
    assert not unknown.width_known
    most = edge_shares(SYSTEM, section(unknown), 22.0)
    for depths in (1.5, 3.0, 8.0, 20.0):
        known = edge_shares(SYSTEM, section(square(depths * 60.0)), 22.0)
        assert most.cured >= known.cured
        assert most.gelled >= known.gelled


def test_metal_mould_is_taken_to_have_sides_of_metal():
    board, metal = (
        section(Mould(40_000.0, metal=metal, length_mm=200.0, width_mm=200.0))
        for metal in (False, True)
    )
    assert metal.side.film_w_m2k > board.side.film_w_m2k
    shares = [edge_shares(SYSTEM, one, 22.0).cured for one in (board, metal)]
    assert shares[1] >= shares[0]


@pytest.mark.parametrize("depths", [2.0, 8.0])
def test_careful_times_are_at_least_the_factor_times_those_of_a_wide_lift(depths):
    lift = seen_of(poured())
    wide = clocks_of(lift)
    assert wide.own_heat_counts
    counted, shares = with_edges(lift, wide, square(depths * 60.0))
    assert shares.demould > 1.3
    for name in ("demould", "cured"):
        before, after = getattr(wide, name), getattr(counted, name)
        share = getattr(shares, name)
        assert after.go_h >= share * before.go_h - 1e-9
        assert after.best_h >= share * before.best_h - 1e-9
        assert after.range_h[1] >= after.go_h
    assert counted.opens.go_h >= shares.gelled * wide.computed["gelled"][2] - 1e-9
    assert counted.demould.go_h >= counted.cured.go_h
    # What is told to be past or to last until then is moved by nothing.
    assert (counted.peak, counted.closes) == (wide.peak, wide.closes)


@pytest.mark.parametrize(("depth", "shop_c"), [(20.0, 18.0), (60.0, 22.0), (60.0, 26.0)])
@pytest.mark.parametrize("seen", [False, True])
def test_no_edge_of_a_slow_resin_is_later_than_its_clock(depth, shop_c, seen):
    """A resin 20 % slow, of 4 % less heat: rarer than one in ten of those the clock allows for."""
    lift = poured(depth, shop_c)
    lift = seen_of(lift) if seen else lift
    mould = square(4 * depth)
    counted, _ = with_edges(lift, clocks_of(lift), mould)
    law, thermal = SYSTEM.kinetics, SYSTEM.thermal
    slow = replace(
        SYSTEM,
        kinetics=replace(law, a1_per_s=0.8 * law.a1_per_s, a2_per_s=0.8 * law.a2_per_s),
        thermal=replace(thermal, heat_j_kg=0.96 * thermal.heat_j_kg),
    )
    truth = section_figures(slow, section(mould, depth), shop_c).section
    assert counted.demould.go_h >= truth.demould_h
    assert counted.cured.go_h >= truth.cured_h
    assert counted.opens.go_h >= truth.gelled_h


def test_hot_middle_brings_the_edges_forward_by_nothing():
    """A log 12 % above the model's makes the wide clock earlier, not what the edges need."""
    plain = seen_of(poured())
    hot = replace(plain, readings=tuple(
        replace(r, celsius=22.0 + 1.12 * (r.celsius - 22.0)) if r.where == CORE else r
        for r in plain.readings
    ))  # fmt: skip
    mould = square(240.0)
    wide = [clocks_of(lift) for lift in (plain, hot)]
    assert wide[1].cured.go_h < wide[0].cured.go_h
    cold_edge, hot_edge = (
        with_edges(lift, clocks, mould)[0].cured.go_h
        for lift, clocks in zip((plain, hot), wide, strict=True)
    )
    assert hot_edge >= 0.999 * cold_edge


def test_exact_curve_of_the_model_keeps_the_best_estimate_with_its_edges():
    before = poured()
    mould = square(240.0)
    first, shares = with_edges(before, clocks_of(before), mould)
    read = seen_of(before)
    then, same = with_edges(read, clocks_of(read), mould)
    assert same == shares
    assert then.demould.best_h == pytest.approx(first.demould.best_h, abs=2 / 60 * shares.demould)
    assert then.demould.go_h >= then.demould.best_h


def test_later_time_of_the_data_sheet_is_not_multiplied():
    lift = seen_of(poured(system=replace(BOTH, glass=GLASS)), now_h=10.0)
    wide = clocks_of(lift)
    assert wide.demould.basis == "datasheet"
    counted, shares = with_edges(lift, wide, square(1200.0))
    assert shares.demould > 1.1
    assert wide.demould.go_h <= counted.demould.go_h < shares.demould * wide.demould.go_h


def test_without_kinetics_the_data_sheet_holds_for_the_whole_casting():
    lift = poured(system=SHEET_ONLY)
    clocks = clocks_of(lift)
    assert with_edges(lift, clocks, square(90.0)) == (clocks, None)


def test_lift_on_cured_resin_has_its_edges_counted_too():
    lift = replace(poured(), base=INSULATED, base_known=False)
    wide = clocks_of(lift)
    counted, shares = with_edges(lift, wide, square(200.0))
    assert shares.cured > 1.0
    assert counted.cured.go_h >= wide.cured.go_h
    # Nobody knows that it stands on something warm: it is no earlier than on board, and a section
    # that is insulated beside a wide lift that is not would make it half as late again.
    board = poured()
    on_board, _ = with_edges(board, clocks_of(board), square(200.0))
    assert counted.cured.go_h >= 0.98 * on_board.cured.go_h
    assert counted.cured.go_h <= 1.25 * on_board.cured.go_h
