"""Every row of the stock cases that is not about picking lots, against its own source."""

import re

import pytest

from shop.core import netting, reorder_policies, safety
from tests.reference_cases import params, rows
from tests.shop.core import textbook_lot_sizing as lot_sizing
from tests.shop.core import textbook_order_sizes as order_sizes


def _economic(i):
    return order_sizes.economic_order(i["fixed_cost"], i["holding_cost"], i["demand_rate"])


def _on_shelf_life(i):
    return order_sizes.economic_order_in_date(
        i["fixed_cost"], i["holding_cost"], i["demand_rate_per_yr"], i["shelf_life_yr"]
    )


def _breaks(i):
    return order_sizes.economic_order_with_breaks(
        i["fixed_cost"], i["holding_rate"], i["demand_rate"], i["breakpoints"], i["unit_costs"]
    )


def _newsvendor(i):
    if "revenue" in i:
        return safety.single_period_from_prices(
            i["revenue"], i["purchase_cost"], i["salvage_value"], i["mean"], i["sd"]
        )
    costs = (i["holding_cost"], i["stockout_cost"])
    if "sd" in i:
        return safety.single_period(*costs, i["mean"], i["sd"])
    chances = {int(k): p for k, p in i["pmf"].items()} if "pmf" in i else safety.poisson(i["mean"])
    return safety.single_period_discrete(*costs, chances)


def _fixed_quantity(i):
    costs = (i["holding_cost"], i["stockout_cost"], i["fixed_cost"])
    if "demand_sd" in i:
        return reorder_policies.fixed_quantity_normal(
            *costs, i["demand_mean"], i["demand_sd"], i["lead_time"]
        )
    return reorder_policies.fixed_quantity_poisson(*costs, i["demand_mean"], i["lead_time"])


def _reorder(i):
    z = i["z"] if "z" in i else safety.service_factor(i["service"])
    demand = i.get("weekly_demand", i.get("mean_d"))
    found = safety.reorder(demand, i.get("sd_d", 0.0), i["mean_L"], i["sd_L"], z)
    return (found.safety_stock, found.reorder_point) if "service" in i else found.reorder_point


ANSWERS = {
    "eoq_": _economic,
    "eoqb": lambda i: order_sizes.economic_order_with_backorders(**_renamed(i)),
    "epq_": lambda i: order_sizes.economic_batch(
        i["fixed_cost"], i["holding_cost"], i["demand_rate"], i["production_rate"]
    ),
    "disc": _breaks,
    "nv_": _newsvendor,
    "base": lambda i: safety.base_stock(**i),
    "rq_": _fixed_quantity,
    "ss_1": lambda i: reorder_policies.up_to_level_poisson(**i),
    "ss_2": lambda i: reorder_policies.up_to_level_poisson(**i),
    "shelf": _on_shelf_life,
    "ss_safety": _reorder,
    "rop": _reorder,
}


def _renamed(i):
    return {("demand" if k == "demand_rate" else k): v for k, v in i.items()}


@pytest.mark.parametrize("case", params("stock_checks.csv", *ANSWERS))
def test_order_size_and_safety_rows(case):
    answer = ANSWERS[max((p for p in ANSWERS if case.id.startswith(p)), key=len)]
    found = answer(case.inputs)
    if case.id.startswith("eoq_"):
        found = found[0] if case.id.endswith("_q") else found[1]
    case.check(found if isinstance(found, float) else list(found))


@pytest.mark.parametrize("case", params("stock_checks.csv", "ww_"))
def test_dynamic_lot_sizing_rows(case):
    i = case.inputs
    costs = (i["fixed_cost"], i["holding_cost_per_period"], i.get("purchase_cost", 0.0))
    found = lot_sizing.wagner_whitin(i["demand"], *costs)
    case.check(found.cost)
    case.check(list(found.orders), i["optimal_orders"])
    case.check(lot_sizing.plan_cost(found.orders, i["demand"], *costs))


def _record(found):
    return {
        "net": list(found.net),
        "receipts": list(found.receipts),
        "releases": list(found.releases),
        "projected": list(found.projected),
        "past_due": [list(p) for p in found.past_due],
    }


def _item(i):
    return netting.Item(
        on_hand=i["on_hand"],
        lead_time=i["lead_time"],
        rule="multiple" if i.get("rule") == "MULT" else "lot for lot",
        size=i.get("size", 0.0),
        safety_stock=i.get("safety_stock", 0.0),
        scheduled=tuple(i.get("scheduled_receipts", ())),
    )


@pytest.mark.parametrize(
    "case", params("stock_checks.csv", "net_1", "net_2", "net_3", "net_6", "net_7")
)
def test_net_requirement_rows(case):
    found = netting.net_requirements(case.inputs["gross"], _item(case.inputs))
    assert _record(found) == case.expected, case.source


FOUR_LEVELS = {
    "net_4": {
        "parts": {"A": {"B": 2, "C": 3}, "B": {"F": 1}, "C": {"D": 1, "E": 1, "F": 2}},
        "on_hand": {"A": 20, "B": 50, "C": 60, "D": 25},
        "due": {"B": 30},
        "lead": {"A": 1, "B": 1, "C": 2, "D": 1, "E": 2, "F": 2},
        "multiple": {"D": 50, "E": 100, "F": 100},
        "minimum": {},
        "gross": [20, 20, 0, 0, 0, 60, 0, 50],
    },
    "net_5": {
        "parts": {"A": {"B": 1, "C": 2, "D": 1}, "C": {"D": 2, "E": 3}},
        "on_hand": {"A": 20, "C": 10, "D": 20, "E": 10},
        "due": {"B": 10, "C": 50},
        "lead": {"A": 1, "B": 1, "C": 1, "D": 2, "E": 2},
        "multiple": {"D": 100, "E": 50},
        "minimum": {"C": 50},
        "gross": [0, 30, 0, 0, 30, 0, 0, 40],
    },
}


@pytest.mark.parametrize("case", params("stock_checks.csv", "net_4", "net_5"))
def test_multi_level_rows(case):
    spec = FOUR_LEVELS[case.id]
    structure = case.inputs["structure"].split(";")[0] + ";" + case.inputs["structure"]
    for parent, parts in spec["parts"].items():  # the form above says what the row says
        written = "+".join(f"{n}{p}" for p, n in parts.items())
        assert re.search(rf"{parent}={re.escape(written)}", structure)
    items = {
        name: netting.Item(
            on_hand=spec["on_hand"].get(name, 0),
            lead_time=spec["lead"][name],
            rule="multiple"
            if name in spec["multiple"]
            else "minimum"
            if name in spec["minimum"]
            else "lot for lot",
            size=spec["multiple"].get(name, spec["minimum"].get(name, 0)),
            scheduled=(spec["due"].get(name, 0),),
        )
        for name in spec["lead"]
    }
    found = netting.explode(items, spec["parts"], {"A": spec["gross"]})
    records = {
        name: {"releases": list(r.releases), "past_due": [list(p) for p in r.past_due]}
        for name, r in found.items()
    }
    assert records == case.expected, case.source


def test_a_loop_of_parts_is_refused():
    with pytest.raises(ValueError, match="parts of one another"):
        netting.explode(
            {"A": netting.Item(), "B": netting.Item()}, {"A": {"B": 1}, "B": {"A": 1}}, {"A": [1]}
        )


def test_every_row_of_the_table_is_checked_somewhere():
    here = (*ANSWERS, "ww_", "net_")
    elsewhere = ("fefo_",)  # test_fefo.py and test_outlook.py
    assert [c.id for c in rows("stock_checks.csv") if not c.id.startswith(here + elsewhere)] == []


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: order_sizes.economic_order(0, 1, 1), "fixed_cost is 0"),
        (lambda: order_sizes.economic_batch(1, 1, 5, 5), "production is 5"),
        (lambda: safety.service_factor(1.0), "service level is 1.0"),
        (lambda: safety.reorder(1, -1, 1, 1, 1), "sd_d is -1"),
        (lambda: lot_sizing.wagner_whitin([1, -2], 1, 1), "must be 0 or more"),
        (lambda: lot_sizing.plan_cost([1, 0], [1, 1], 1, 1), "period 2 is short by 1"),
        (lambda: netting.net_requirements([-1], netting.Item()), "must be 0 or more"),
    ],
)
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()
