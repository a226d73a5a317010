from datetime import date
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from shop.core.costing import Loss, LotPrice, Use, casting_costs, losses_by_month

D = Decimal
PRICES = {
    "R1": LotPrice(D("8.40"), "EUR"),
    "R2": LotPrice(D("9.10"), "EUR"),
    "H1": LotPrice(D("14.25"), "USD"),
}


def test_a_casting_costs_what_its_lots_cost_and_currencies_stay_apart():
    uses = [
        Use("C1", "R1", "RES", D("10.500")),
        Use("C1", "R2", "RES", D("2.250")),
        Use("C1", "H1", "HARD", D("2.550")),
        Use("C2", "R1", "RES", D("1")),
    ]
    cost = casting_costs(uses, PRICES)["C1"]
    # by hand: 10.5 x 8.40 + 2.25 x 9.10 = 88.20 + 20.475 = 108.675, half to even 108.68;
    # 2.55 x 14.25 = 36.3375
    assert cost.totals == {"EUR": D("108.68"), "USD": D("36.34")}
    assert cost.unpriced == ()


def test_a_counter_movement_takes_its_cost_back():
    uses = [Use("C", "R1", "RES", D(5)), Use("C", "R1", "RES", D(-5)), Use("C", "R2", "RES", D(5))]
    cost = casting_costs(uses, PRICES)["C"]
    assert [line.lot for line in cost.lines] == ["R2"]
    assert cost.totals == {"EUR": D("45.50")}


def test_a_lot_without_price_is_named_instead_of_counted_as_free():
    cost = casting_costs([Use("C", "X", "WAX", D(1)), Use("C", "R1", "RES", D(1))], PRICES)["C"]
    assert cost.unpriced == ("X",)
    assert cost.totals == {"EUR": D("8.40")}


@given(st.lists(st.decimals(0, 50, places=4), min_size=1, max_size=30))
def test_many_small_issues_cost_what_one_large_one_does(quantities):
    split = casting_costs([Use("C", "R1", "RES", q) for q in quantities], PRICES)["C"]
    whole = casting_costs([Use("C", "R1", "RES", sum(quantities))], PRICES)["C"]
    assert split.totals == whole.totals


def test_losses_are_summed_by_month_material_and_reason():
    losses = [
        Loss(date(2026, 10, 30), "R1", "RES", D("2.0"), "expired"),
        Loss(date(2026, 10, 1), "R2", "RES", D("1.0"), "expired"),
        Loss(date(2026, 10, 2), "R1", "RES", D("0.4"), "pot residue"),
        Loss(date(2026, 11, 2), "X", "WAX", D("3.0"), "scrapped"),
    ]
    found = losses_by_month(losses, PRICES)
    assert [(x.month.isoformat(), x.material, x.reason, x.quantity) for x in found] == [
        ("2026-10-01", "RES", "expired", D("3.0")),
        ("2026-10-01", "RES", "pot residue", D("0.4")),
        ("2026-11-01", "WAX", "scrapped", D("3.0")),
    ]
    assert found[0].cost == {"EUR": D("25.90")}
    assert found[2].cost == {}
