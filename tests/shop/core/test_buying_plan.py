"""The buying plan against the textbook optimum, every enumeration, and the usual rules."""

import math
import random
from itertools import product

import pytest

from shop.core import lot_sizing, order_sizes
from shop.core.buying_plan import Arrival, Costs, Demand, best_plan, walk
from shop.core.pack_prices import Pack, price_table
from tests.shop.core.cases import params

SERIES = 500


def unit_pack(price=0.0):
    return [Pack("unit", 1.0, ((1, price),))]


def demands(series):
    return [Demand(t, t, float(q)) for t, q in enumerate(series) if q]


def series(seed, most=14, periods=10):
    rng = random.Random(seed)
    lumpy = rng.random() < 0.5
    return [
        rng.randint(1, most) if not lumpy or rng.random() < 0.6 else 0 for _ in range(periods)
    ] + [rng.randint(1, most)]


@pytest.mark.parametrize("case", params("stock_checks.csv", "ww_1", "ww_2", "ww_3", "ww_5"))
def test_textbook_rows_without_packs_or_shelf_life(case):
    i = case.inputs
    scale = math.gcd(*i["demand"])
    packs = [Pack("unit", float(scale), ((1, 0.0),))]
    plan = best_plan(
        demands(i["demand"]), packs, Costs(i["fixed_cost"], i["holding_cost_per_period"])
    )
    assert plan.proven
    case.check(plan.cost)
    case.check(
        [sum(a.quantity for a in plan.arrivals if a.day == t) for t in range(len(i["demand"]))],
        i["optimal_orders"],
    )


def test_five_hundred_series_cost_what_wagner_and_whitin_do():
    for seed in range(SERIES):
        need = series(seed)
        fixed, hold, price = 10 + seed % 50, 0.2 + seed % 7 / 5, float(seed % 3)
        plan = best_plan(demands(need), unit_pack(price), Costs(fixed, hold))
        exact = lot_sizing.wagner_whitin(need, fixed, hold, price)
        assert plan.cost == pytest.approx(exact.cost, rel=1e-9), f"seed {seed}"


def rounded(orders, need, table, fixed, hold):
    """Cost a rule's orders in whole packs, carrying the surplus over."""
    arrivals, stock, owed = [], 0.0, 0.0
    for t, (order, want) in enumerate(zip(orders, need, strict=True)):
        owed += order
        lacking = max(0.0, owed if order else 0.0, want - stock)
        if lacking > 1e-9 and stock < want:
            k = table.least_step(lacking)
            arrivals.append(Arrival(t, k * table.step, (), float(table.cost[k])))
            stock += k * table.step
            owed = owed - k * table.step
        stock -= want
    held, _ = walk(arrivals, demands(need), Costs(fixed, hold))
    return sum(fixed + a.goods_cost for a in arrivals) + held


def test_five_hundred_series_are_never_dearer_than_the_usual_rules_with_packs_and_breaks():
    wins = dict.fromkeys(("lot for lot", "economic order", "fixed period"), 0)
    for seed in range(SERIES):
        rng = random.Random(10_000 + seed)
        need = series(seed, most=40)
        fixed, hold = rng.uniform(5, 80), rng.uniform(0.01, 0.6)
        packs = [
            Pack("small", 5.0, ((1, 30.0),)),
            Pack("large", 20.0, ((1, 100.0), (4, 90.0)), least_packs=rng.choice([1, 1, 2])),
        ]
        plan = best_plan(demands(need), packs, Costs(fixed, hold))
        mean = sum(need) / len(need)
        economic, _ = order_sizes.economic_order(fixed, hold, mean)
        rules = {
            "lot for lot": lot_sizing.lot_for_lot(need),
            "economic order": lot_sizing.fixed_quantity(need, economic),
            "fixed period": lot_sizing.fixed_period(need, max(1, round(economic / mean))),
        }
        table = price_table(packs, 4 * sum(need))
        for name, orders in rules.items():
            cost = rounded(orders, need, table, fixed, hold)
            assert plan.cost <= cost + 1e-6, f"seed {seed}: dearer than {name}"
            wins[name] += plan.cost < cost - 1e-6
    assert all(count > SERIES // 4 for count in wins.values()), wins


def test_five_hundred_series_respect_shelf_life_and_packs_where_the_textbook_plan_can_not():
    textbook_wastes = proven = 0
    for seed in range(SERIES):
        rng = random.Random(20_000 + seed)
        need = series(seed, most=12)
        life = rng.randint(1, 3)
        packs = [Pack("two", 2.0, ((1, 9.0),)), Pack("five", 5.0, ((1, 20.0),))]
        costs = Costs(rng.uniform(20, 90), rng.uniform(0.0, 0.4), shelf_days=life)
        plan = best_plan(demands(need), packs, costs)
        for arrival in plan.arrivals:
            content = {"two": 2, "five": 5}
            assert arrival.quantity == sum(content[name] * n for name, n in arrival.packs)
        _, wasted = walk(plan.arrivals, demands(need), costs)  # raises if anything is short
        assert wasted == pytest.approx(plan.wasted)
        if plan.proven:
            proven += 1
            assert wasted < 1e-9, f"seed {seed}"
        free = best_plan(demands(need), packs, Costs(costs.order, costs.unit_day))
        try:
            textbook_wastes += walk(free.arrivals, demands(need), costs)[1] > 1e-9
        except ValueError:
            textbook_wastes += 1
    assert proven > SERIES * 0.6, f"{proven} of {SERIES} without waste"
    assert textbook_wastes > SERIES // 4


def enumerated(need, packs, costs, most):
    """Cost every choice of up to three of each pack a day, judged by a walk of its own."""
    best = math.inf
    choices = list(product(range(4), repeat=len(packs)))
    for plan in product(choices, repeat=len(need)):
        brought = [sum(n * p.content for n, p in zip(c, packs, strict=True)) for c in plan]
        if sum(brought) > most:
            continue
        goods = sum(p.cost(n) for c in plan for n, p in zip(c, packs, strict=True))
        held = _held_without_waste(need, brought, costs.shelf_days)
        orders = sum(costs.order for quantity in brought if quantity)
        best = min(best, orders + goods + held * costs.unit_day)
    return best


def _held_without_waste(need, brought, life):
    shelf, held, last = [], 0.0, len(need) - 1
    for day, (want, quantity) in enumerate(zip(need, brought, strict=True)):
        shelf.append([quantity, day])
        for layer in shelf:
            part = min(want, layer[0])
            layer[0] -= part
            want -= part
        stale = sum(q for q, came in shelf if came + life <= day)
        if want > 1e-9 or (stale > 1e-9 and day < last):
            return math.inf
        held += sum(q for q, _ in shelf) if day < last else 0.0
    return held


def test_small_cases_are_as_cheap_as_any_enumerated_plan_with_packs_breaks_and_shelf_life():
    equal = proven = 0
    for seed in range(60):
        rng = random.Random(seed)
        need = [rng.randint(0, 5), rng.randint(0, 5), rng.randint(1, 5)]
        second, least = rng.choice([6.0, 4.0]), rng.choice([1, 2])
        packs = [
            Pack("a", 2.0, ((1, 7.0), (2, second)), least_packs=least),
            Pack("b", 3.0, ((1, 9.0),)),
        ]
        costs = Costs(rng.uniform(0, 12), rng.uniform(0, 1), shelf_days=rng.randint(1, 4))
        plan = best_plan(demands(need), packs, costs)
        if not plan.proven:
            continue
        proven += 1
        table = price_table(packs, sum(need))
        # What is left after the last need is kept to the least; every plan is held to that.
        best = enumerated(need, packs, costs, table.least_step(sum(need)) * table.step)
        assert plan.cost <= best + 1e-9, f"seed {seed}"
        equal += plan.cost > best - 1e-9
    assert proven >= 40
    assert equal >= 0.8 * proven  # the others use four packs of a kind on one day


def test_waste_that_packs_make_unavoidable_is_least_and_said():
    packs = [Pack("drum", 25.0, ((1, 200.0),))]
    plan = best_plan(
        [Demand(0, 0, 3.0), Demand(400, 400, 3.0)], packs, Costs(10, 0.01, shelf_days=180)
    )
    assert not plan.proven
    assert [a.quantity for a in plan.arrivals] == [25.0, 25.0]
    assert plan.wasted == pytest.approx(22.0)


def test_a_price_break_is_used_where_nothing_expires_and_not_where_it_would():
    packs = [Pack("can", 5.0, ((1, 50.0), (4, 30.0)))]
    wants = [Demand(0, 0, 5.0), Demand(60, 60, 5.0)]
    kept = best_plan(wants, packs, Costs(10, 0.0))
    assert [a.quantity for a in kept.arrivals] == [10.0]
    short = best_plan(wants, packs, Costs(10, 0.0, shelf_days=30))
    assert [(a.day, a.quantity) for a in short.arrivals] == [(0, 5.0), (60, 5.0)]


def test_packs_are_mixed_to_the_least_money():
    table = price_table(
        [Pack("a", 5.0, ((1, 30.0),)), Pack("b", 20.0, ((1, 90.0), (3, 80.0)))], 60
    )
    assert table.packs_for(table.least_step(43.0)) == (("a", 1), ("b", 2))
    assert table.cost[table.least_step(60.0)] == 240.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Pack("x", 0.0, ((1, 1.0),)), "pack x holds 0"),
        (lambda: Pack("x", 1.0, ()), "needs prices"),
        (lambda: Pack("x", 1.0, ((1, 1.0),), least_packs=0), "least_packs is 0"),
        (lambda: price_table([], 5.0), "no pack"),
    ],
)
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()
