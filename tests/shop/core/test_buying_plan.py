"""The buying plan against the textbook optimum, another solver, and the usual rules."""

import math
import random

import pytest

from shop.core import buying_program
from shop.core.buying_model import Program
from shop.core.buying_path import Path
from shop.core.buying_plan import (
    Arrival,
    Demand,
    Line,
    NoPlan,
    NoPlanInTime,
    OrderTerms,
    price_plan,
)
from shop.core.buying_program import best_plan
from shop.core.packs import Pack, steps_of
from tests.reference_cases import params
from tests.shop.core import textbook_lot_sizing as lot_sizing
from tests.shop.core.buying_cases import case, cheapest_by_another_solver, check_by_hand
from tests.shop.core.textbook_rules import RULES, cost_by


def unit_pack(price=0.0, content=1.0):
    return (Pack("unit", content, ((1, price),)),)


def demands(series):
    return tuple(Demand(t, t, float(q)) for t, q in enumerate(series) if q)


def brought(plan, days):
    return [sum(plan.quantity(a) for a in plan.arrivals if a.day == t) for t in range(days)]


@pytest.mark.parametrize("case", params("stock_checks.csv", "ww_1", "ww_2", "ww_3", "ww_5"))
def test_textbook_rows_without_packs_or_shelf_life(case):
    i = case.inputs
    packs = unit_pack(0.0, float(math.gcd(*i["demand"])))
    line = Line(demands(i["demand"]), packs, i["holding_cost_per_period"])
    plan = best_plan([line], OrderTerms(i["fixed_cost"]))
    assert plan.proven
    case.check(plan.cost)
    case.check(brought(plan, len(i["demand"])), i["optimal_orders"])


def test_random_series_cost_what_wagner_and_whitin_do():
    for seed in range(40):
        rng = random.Random(seed)
        need = [rng.randint(0, 14) for _ in range(10)] + [rng.randint(1, 14)]
        fixed, hold, price = 10 + seed % 50, 0.2 + seed % 7 / 5, float(seed % 3)
        plan = best_plan([Line(demands(need), unit_pack(price), hold)], OrderTerms(fixed))
        exact = lot_sizing.wagner_whitin(need, fixed, hold, price)
        assert plan.cost == pytest.approx(exact.cost, abs=0.01), f"seed {seed}"


def test_small_packs_stay_beside_a_drum_a_hundred_times_as_large():
    packs = (Pack("tin", 0.5, ((1, 9.0),)), Pack("drum", 200.0, ((1, 2500.0), (2, 2400.0))))
    plan = best_plan([Line((Demand(9, 9, 3.0),), packs, 0.0)])
    assert (plan.cost, plan.arrivals[0].counts, plan.proven) == (54.0, (6, 0), True)


def test_packs_without_a_common_measure_are_all_in_the_sum():
    packs = tuple(
        Pack(f"{c:g}", c, ((1, p),)) for c, p in ((1, 12.0), (2.2, 24.0), (20.35, 180.0))
    )
    plan = best_plan([Line((Demand(9, 9, 23.5),), packs, 0.0)])
    # 20.35 + 2.2 + 1 kg = 23.55 kg is enough, to the gram
    assert (plan.cost, plan.arrivals[0].counts) == (216.0, (1, 1, 1))


def test_a_larger_pack_is_taken_where_its_surplus_is_cheaper_than_another_small_one():
    packs = (Pack("5", 5.0, ((1, 100.0),)), Pack("12", 12.0, ((1, 130.0),)))
    plan = best_plan([Line((Demand(9, 9, 9.0),), packs, 0.0, shelf_days=30)])
    assert (plan.cost, plan.arrivals[0].counts, plan.proven) == (130.0, (0, 1), True)


def test_what_packs_make_expire_is_told():
    packs = (Pack("drum", 25.0, ((1, 200.0),)),)
    wants = (Demand(0, 0, 3.0), Demand(400, 400, 3.0))
    plan = best_plan([Line(wants, packs, 0.01, shelf_days=180)], OrderTerms(10))
    assert [plan.quantity(a) for a in plan.arrivals] == [25.0, 25.0]
    assert plan.expired == (22.0,)


def test_a_price_break_is_used_where_it_saves_and_not_where_goods_would_expire():
    packs = (Pack("can", 5.0, ((1, 50.0), (4, 30.0))),)
    wants = (Demand(0, 0, 5.0), Demand(60, 60, 5.0))
    kept = best_plan([Line(wants, packs, 0.0)], OrderTerms(10))
    assert [plan_q for plan_q in brought(kept, 61) if plan_q] == [10.0]
    short = best_plan([Line(wants, packs, 0.0, 30)], OrderTerms(10))
    assert [(a.day, a.counts) for a in short.arrivals] == [(0, (1,)), (60, (1,))]


def test_safety_stock_stays_in_date_beside_the_needs():
    line = Line(
        (Demand(0, 0, 2.0, kept=True), Demand(10, 10, 3.0), Demand(50, 50, 3.0)),
        unit_pack(4.0), 0.01, shelf_days=20,
    )  # fmt: skip
    plan = best_plan([line], OrderTerms(5))
    assert sum(plan.quantity(a) for a in plan.arrivals) == 10.0  # 2 kg expire and are bought anew


def test_random_cases_keep_all_rules_and_are_never_proven_wrongly():
    """The long run of this is in the benchmarks; here it is a sample."""
    for seed in range(12):
        line, terms = case(seed, needs=(1, 12))
        plan = best_plan([line], terms)
        cost = check_by_hand(line, terms, plan.arrivals)
        assert float(cost) == pytest.approx(plan.cost, abs=1e-6), f"seed {seed}"
        other, bound = cheapest_by_another_solver(line, terms, seconds=5)
        assert plan.bound <= other + 0.01, f"seed {seed}"
        assert bound <= plan.cost + 0.01, f"seed {seed}"


def test_path_and_program_agree_and_the_path_alone_proves_most():
    """The program shares no step with the path; each proves the other's plan."""
    proven = 0
    for seed in range(100, 108):
        line, terms = case(seed, needs=(1, 12))
        path = Path(line, terms)
        found = path.search(1e9, 1.0)
        if found.arrivals is None:
            continue
        cost = float(check_by_hand(line, terms, found.arrivals))
        assert found.bound <= cost + 1e-6
        proven += cost - found.bound <= 0.01
        arrivals, bound = Program((line,), terms).solve(1.0)
        assert bound <= cost + 0.01, f"seed {seed}"
        if arrivals is not None:
            assert found.bound <= float(price_plan([line], terms, arrivals)[0]) + 0.01
    assert proven >= 7


def test_a_coarse_grid_bounds_from_below_and_its_plan_keeps_all_rules():
    for seed in range(60, 68):
        line, terms = case(seed, needs=(2, 10))
        best = best_plan([line], terms)
        for cells in (50, 2000):
            path = Path(line, terms, cells)
            assert path.bound <= best.cost + 1e-6, f"seed {seed}"
            plan = path.safe()
            if plan is not None and terms.least_value == 0:
                assert float(check_by_hand(line, terms, plan)) >= best.bound - 1e-6


def test_what_cannot_be_is_refused_at_once():
    line = Line((Demand(30, 10, 3.0),), unit_pack(1.0), 0.0, shelf_days=10)
    with pytest.raises(NoPlan, match="no purchase keeps all rules") as refused:
        best_plan([line])
    assert not isinstance(refused.value, NoPlanInTime)


def test_where_only_the_time_ran_out_that_is_said(monkeypatch):
    monkeypatch.setattr(buying_program, "quick_plan", lambda *_: None)
    monkeypatch.setattr(Program, "solve", lambda *_: (None, 0.0))
    line = Line((Demand(5, 5, 3.0, kept=True), Demand(9, 9, 1.0)), unit_pack(1.0), 0.0)
    with pytest.raises(NoPlanInTime, match="the time ran out"):
        best_plan([line])


def test_no_textbook_rule_beats_the_plan():
    """The long run of this is in the benchmarks; here it is a sample."""
    beside = 0
    for seed in range(400, 405):
        line, terms = case(seed, needs=(10, 25))
        plan = best_plan([line], terms)
        for rule in RULES:
            cost = cost_by(rule, line, terms)
            if cost is not None:
                beside += 1
                assert cost >= plan.cost - 0.005, f"seed {seed}, {rule.__name__}"
    assert beside > 15


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((1,), "short by 5"),
        ((3,), "room"),
    ],
)
def test_a_plan_that_breaks_a_rule_is_refused(counts, words):
    line = Line((Demand(5, 5, 10.0),), unit_pack(1.0, 5.0), 0.0, room=((5, 12.0),))
    with pytest.raises(NoPlan, match=words):
        price_plan([line], OrderTerms(), [Arrival(0, 5, counts)])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Pack("x", 0.0, ((1, 1.0),)), "pack x holds 0"),
        (lambda: Pack("x", 1.0, ()), "needs prices"),
        (lambda: Pack("x", 1.0, ((1, 1.0),), least_packs=0), "least_packs is 0"),
    ],
)
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_quantities_are_never_rounded_down():
    assert (steps_of(0.00011), steps_of(1.1), steps_of(3.0)) == (2, 11_000, 30_000)
