"""Random purchases, a checker of plans that shares no code with them, and another solver."""

import random
from fractions import Fraction

from shop.core.buying_plan import Demand, Line, OrderTerms
from shop.core.packs import Pack


def case(seed, needs=(1, 40), weeks=26):
    """Return a material with 1 to 4 packs of any size, and the terms of its supplier."""
    rng = random.Random(seed)
    count, span, scale = rng.randint(*needs), weeks * 7, rng.choice([1, 5, 20])
    in_hand = rng.choice([0, 3, 8])
    wants = []
    for day in sorted(rng.sample(range(5, span), min(count, span - 6))):
        by = max(7, day - in_hand)
        by -= max(0, by % 7 - 4)  # closed on two days of the week
        quantity = round(rng.uniform(0.2, 3) * scale, rng.choice([1, 2, 3, 4]))
        wants.append(Demand(max(day, by), by, quantity))
    packs = tuple(_pack(rng, f"p{n}", scale) for n in range(rng.randint(1, 4)))
    price = min(p / pack.content for pack in packs for _, p in pack.prices)
    shelf = rng.choice([None, None, rng.randint(20, 60), rng.randint(60, 200), 365])
    terms = OrderTerms(
        fixed=rng.choice([5.0, 20.0, 60.0]),
        freight=rng.choice([0.0, 0.0, 12.0, 30.0]),
        least_value=rng.choice([0.0, 0.0, 50.0, 200.0, 500.0]),
    )
    return Line(tuple(wants), packs, price * 0.2 / 365, shelf), terms


def _pack(rng, name, scale):
    size = rng.choice([rng.uniform(0.2, 3), rng.uniform(1, 20), rng.uniform(10, 60)])
    content = round(size * rng.choice([1, 1, scale]), rng.choice([0, 1, 2, 3, 4])) or 1.0
    tiers, start = [(1, round(10 * content**0.85 * rng.uniform(0.8, 1.2), 2))], 1
    for _ in range(rng.choice([0, 0, 1, 2])):
        start += rng.randint(1, 8)
        tiers.append((start, round(tiers[-1][1] * rng.uniform(0.85, 0.97), 2)))
    return Pack(name, content, tuple(tiers), rng.choice([1, 1, 1, 2, 3]))


def exact(number):
    return Fraction(str(number))


def check_by_hand(line, terms, arrivals):
    """Return the cost of a plan after serving every need from it, one day after the other."""
    stock, cost, by_day = [], Fraction(0), {}
    for a in arrivals:
        goods = Fraction(0)
        for n, pack in zip(a.counts, line.packs, strict=True):
            assert n == 0 or n >= pack.least_packs
            if n:
                goods += n * exact([p for s, p in sorted(pack.prices) if s <= n][-1])
        by_day[a.day] = by_day.get(a.day, 0) + goods
        content = sum(n * exact(p.content) for n, p in zip(a.counts, line.packs, strict=True))
        stock.append([a.day, content])
        cost += content * Fraction(line.unit_day) * (line.last_day - a.day)
    for goods in by_day.values():
        assert goods >= exact(terms.least_value)
        cost += goods + exact(terms.fixed) + exact(terms.freight)
    stock.sort()
    for d in sorted(line.demands, key=lambda d: d.day):
        want = exact(d.quantity)
        for layer in stock:
            if layer[0] <= d.by and (
                line.shelf_days is None or layer[0] + line.shelf_days >= d.day
            ):
                part = min(want, layer[1])
                layer[1] -= part
                want -= part
        assert want == 0, f"day {d.day} is short by {want}"
        cost -= exact(d.quantity) * Fraction(line.unit_day) * (line.last_day - d.day)
    return cost


def cheapest_by_another_solver(line, terms, seconds):
    """Return the cost of the best plan CP-SAT finds, and its bound, both less than 0.005 off."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    days = sorted({d.by for d in line.demands})
    size = [round(p.content * 10_000) for p in line.packs]
    total = sum(round(d.quantity * 10_000) for d in line.demands)
    cents = 10_000
    objective, arrived = [], {}
    for t in days:
        ordered = model.new_bool_var("")
        objective.append(round((terms.fixed + terms.freight) * cents) * ordered)
        value, steps = [], []
        for k, pack in enumerate(line.packs):
            starts = sorted(pack.prices)
            held = line.unit_day * pack.content * (line.last_day - t)
            tiers = []  # all packs of one kind in an order have the price of one break
            for place, (start, price) in enumerate(starts):
                fewest = max(start, pack.least_packs)
                most = max(
                    fewest, -(-total // size[k]), -(-int(terms.least_value) // max(1, int(price)))
                )
                if place + 1 < len(starts):
                    most = min(most, starts[place + 1][0] - 1)
                if fewest > most:
                    continue
                n = model.new_int_var(0, most, "")
                here = model.new_bool_var("")
                model.add(n >= fewest).only_enforce_if(here)
                model.add(n == 0).only_enforce_if(here.negated())
                model.add_implication(here, ordered)
                tiers.append(here)
                value.append(round(price * 100) * n)
                steps.append(size[k] * n)
                objective.append(round((price + held) * cents) * n)
            model.add_at_most_one(tiers)
        if terms.least_value:
            model.add(sum(value) >= round(terms.least_value * 100)).only_enforce_if(ordered)
        arrived[t] = sum(steps)
    served = {t: [] for t in days}
    for d in line.demands:
        shares = []
        for t in days:
            if t <= d.by and (line.shelf_days is None or d.day <= t + line.shelf_days):
                share = model.new_int_var(0, round(d.quantity * 10_000), "")
                shares.append(share)
                served[t].append(share)
        model.add(sum(shares) == round(d.quantity * 10_000))
    for t in days:
        model.add(sum(served[t]) <= arrived[t])
    model.minimize(sum(objective))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    less = sum(d.quantity * line.unit_day * (line.last_day - d.day) for d in line.demands)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    best = solver.objective_value / cents - less if found else float("inf")
    return best, solver.best_objective_bound / cents - less
