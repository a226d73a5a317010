from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.core.balances import Movement, audit, counter, first_below_zero, fold

T0 = datetime(2026, 11, 25, 6, 45, tzinfo=UTC)


def move(key, lot, quantity, hours=0, reverses=None):
    return Movement(key, lot, Decimal(str(quantity)), T0 + timedelta(hours=hours), reverses)


LEDGER = [
    move("r1", "A", "25.000"),
    move("i1", "A", "-4.125", 1),
    move("r2", "B", "5.0", 2),
    move("i2", "A", "-1.000", 3),
]


def test_a_balance_is_the_sum_of_its_movements():
    assert fold(LEDGER) == {"A": Decimal("19.875"), "B": Decimal("5.0")}


def test_stock_as_at_a_past_moment_counts_that_moment():
    assert fold(LEDGER, T0 + timedelta(hours=1)) == {"A": Decimal("20.875")}
    assert fold(LEDGER, T0 - timedelta(seconds=1)) == {}


def test_a_counter_movement_restores_the_balance_and_leaves_the_past_alone():
    fix = counter(LEDGER[1], key="x1", at=T0 + timedelta(hours=5))
    assert fold([*LEDGER, fix])["A"] == Decimal("24.000")
    assert fold([*LEDGER, fix], T0 + timedelta(hours=4))["A"] == Decimal("19.875")
    assert fix.reverses == "i1"


def test_a_correction_is_not_corrected_and_does_not_lie_before_the_mistake():
    fix = counter(LEDGER[1], key="x1", at=T0 + timedelta(hours=5))
    with pytest.raises(ValueError, match="x1 already undoes i1"):
        counter(fix, key="x2", at=T0 + timedelta(hours=6))
    with pytest.raises(ValueError, match="lies before"):
        counter(LEDGER[1], key="x3", at=T0)


def test_the_first_dip_below_zero_is_found_even_if_the_end_is_positive():
    dip = [move("a", "A", 2), move("b", "A", -3, 1), move("c", "A", 9, 2)]
    assert first_below_zero(dip).key == "b"
    assert first_below_zero(LEDGER) is None


def test_a_clean_ledger_has_no_differences():
    assert audit(LEDGER, {"A": Decimal("19.875"), "B": Decimal("5.0")}) == ()


@pytest.mark.parametrize(
    ("extra", "kept_a", "kinds"),
    [
        pytest.param([], "19.874", ["balance"], id="a gram lost"),
        pytest.param([move("i1", "A", "-1", 9)], "18.875", ["duplicate key"], id="key twice"),
        pytest.param(
            [move("z", "A", "-30", 9)], "-10.125", ["below zero"], id="more issued than held"
        ),
        pytest.param(
            [move("c", "A", "1", 9, "i9")], "20.875", ["counter-movement"], id="undoes nothing"
        ),
        pytest.param(
            [move("c", "A", "1", 9, "i1")], "20.875", ["counter-movement"], id="wrong quantity"
        ),
        pytest.param(
            [move("c", "A", "1", 9, "i2"), move("e", "A", "1", 9, "i2")],
            "21.875",
            ["counter-movement"],
            id="undone twice",
        ),
    ],
)
def test_every_kind_of_difference_is_caught(extra, kept_a, kinds):
    found = audit([*LEDGER, *extra], {"A": Decimal(kept_a), "B": Decimal("5.0")})
    assert [x.kind for x in found] == kinds
    assert {x.lot for x in found} == {"A"}


@given(st.lists(st.tuples(st.sampled_from("ABC"), st.integers(-99, 99)), max_size=40))
def test_the_audit_agrees_with_any_folded_ledger_that_stays_above_zero(pairs):
    ledger = [move(str(i), lot, q) for i, (lot, q) in enumerate(pairs)]
    found = audit(ledger, fold(ledger))
    below = {x.lot for x in found}
    for lot in "ABC":
        running, low = 0, 0
        for own, q in pairs:
            if own == lot:
                running += q
                low = min(low, running)
        assert (lot in below) == (low < 0)
