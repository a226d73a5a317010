from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.core import fefo
from shop.core.outlook import Rescue, ShortPour, Supply, Use, project
from tests.reference_cases import params

DAY0 = date(2026, 11, 25)


def day(n):
    return DAY0 + timedelta(days=n)


def supply(code, quantity, until=None, due=None, **kw):
    return Supply(
        code,
        quantity,
        None if until is None else day(until),
        due_on=None if due is None else day(due),
        **kw,
    )


def use(pour, n, quantity, lot=None):
    return Use(day(n), quantity, pour, lot)


def look(supplies, uses, days=10, **kw):
    return project(supplies, uses, start=DAY0, days=days, **kw)


@pytest.mark.parametrize("case", params("stock_checks.csv", "fefo_4"))
def test_waste_and_shortage_row(case):
    i = case.inputs
    supplies = [supply(f"L{n}", q, n + i["life_days"], due=n) for n, q in i["arrivals"]]
    uses = [use(f"P{n}", n, q) for n, q in enumerate(i["demand"])]
    found = {}
    for name, newest in (("FEFO", False), ("LEFO", True)):
        ahead = look(supplies, uses, days=len(uses), newest_first=newest)
        left_over = max(0.0, ahead.projected[-1] + sum(ahead.short))
        found[name] = [ahead.lost + left_over, sum(ahead.short)]
    assert found == case.expected, case.source


def test_the_columns_tell_a_small_story():
    ahead = look(
        [supply("A", 10, until=2), supply("B", 5), supply("PO1", 8, until=9, due=4)],
        [use("P1", 1, 4), use("P2", 3, 7), use("P3", 5, 3)],
        days=7,
    )
    assert ahead.opening == 15
    assert ahead.expired == (0, 0, 6, 0, 0, 0, 0)
    assert ahead.short == (0, 0, 0, 2, 0, 0, 0)
    assert ahead.projected == (15, 11, 5, -2, 6, 3, 3)
    assert ahead.in_date == (15, 15, 11, 5, 0, 6, 3)
    assert ahead.first_short_day == day(3)
    assert ahead.short_pours == (ShortPour("P2", day(3), 2, made_good_on=day(4), never_met=0),)
    (risk,) = ahead.at_risk
    assert (risk.code, risk.usable_until, risk.quantity) == ("A", day(2), 6)
    assert risk.rescues == (Rescue("P2", day(3), 6, share_with="P1"),)


def test_a_reservation_keeps_its_lot_from_other_pours():
    ahead = look([supply("A", 5), supply("B", 5)], [use("P1", 1, 6), use("P2", 2, 5, lot="A")])
    assert ahead.short_pours == (ShortPour("P1", day(1), 1, None, 1),)
    assert (ahead.reserved[2], ahead.planned[1]) == (5, 6)


def test_a_reservation_on_a_lot_that_expires_first_looks_for_other_stock():
    ahead = look([supply("A", 5, until=1), supply("B", 3)], [use("P2", 2, 5, lot="A")])
    assert ahead.short_pours == (ShortPour("P2", day(2), 2, None, 2),)
    assert ahead.lost == 5


def test_what_is_already_out_of_date_does_not_count():
    ahead = look([supply("OLD", 9, until=-1), supply("LAST", 4, until=0)], [use("P", 0, 4)])
    assert (ahead.already_expired, ahead.opening, ahead.lost) == (9, 4, 0)


def test_a_receipt_that_covers_part_of_a_shortage_leaves_the_rest_to_be_bought():
    ahead = look([supply("PO", 3, due=4)], [use("P1", 2, 5), use("P2", 3, 1)])
    first, second = ahead.short_pours
    assert (first.quantity, first.never_met, first.made_good_on) == (5, 2, None)
    assert (second.quantity, second.never_met) == (1, 1)


def test_overdue_uses_and_receipts_count_today():
    ahead = look([supply("PO", 4, due=-3)], [use("LATE", -2, 5)])
    assert ahead.short_pours == (ShortPour("LATE", DAY0, 1, None, 1),)


def test_a_receipt_that_arrives_out_of_date_is_not_counted():
    ahead = look([supply("PO", 4, until=2, due=3)], [])
    assert sum(ahead.receipts) == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: look([], [], days=0), "days is 0 d"),
        (lambda: look([supply("A", -1)], []), "A holds -1"),
        (lambda: look([], [use("P", 1, -2)]), "pour P needs -2"),
    ],
)
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()


supplies_ = st.lists(
    st.builds(
        supply,
        st.uuids().map(str),
        st.integers(0, 20),
        st.one_of(st.none(), st.integers(-3, 25)),
        st.one_of(st.none(), st.integers(-2, 22)),
        opened=st.booleans(),
    ),
    max_size=8,
)
uses_ = st.lists(
    st.builds(use, st.uuids().map(str), st.integers(-2, 22), st.integers(0, 12)), max_size=10
)


@given(supplies_, uses_)
def test_material_is_neither_made_nor_lost_on_the_way(supplies, uses):
    ahead = look(supplies, uses, days=20)
    level = ahead.opening
    for n in range(20):
        level += ahead.receipts[n] - ahead.reserved[n] - ahead.planned[n] - ahead.expired[n]
        assert ahead.projected[n] == pytest.approx(level, abs=1e-5)
    assert sum(ahead.expired) == pytest.approx(sum(r.quantity for r in ahead.at_risk))
    assert sum(ahead.short) == pytest.approx(sum(p.quantity for p in ahead.short_pours))


@given(
    st.lists(st.tuples(st.integers(1, 20), st.integers(0, 25)), max_size=8),
    st.lists(st.tuples(st.integers(0, 19), st.integers(0, 12)), max_size=10),
)
def test_losses_agree_with_a_closed_form_of_running_totals(lots, needs):
    """What is lost by a day is the most by which expiries so far ever ran ahead of use so far."""
    supplies = [supply(f"L{n}", q, until) for n, (q, until) in enumerate(lots)]
    ahead = look(supplies, [use(f"P{n}", d, q) for n, (d, q) in enumerate(needs)], days=20)
    worst = 0.0
    for n in range(20):
        ended = sum(q for q, until in lots if until <= n)
        used = sum(q for d, q in needs if d <= n)
        worst = max(worst, ended - used)
        assert sum(ahead.expired[: n + 1]) == pytest.approx(worst)


@given(
    st.lists(
        st.builds(
            supply,
            st.uuids().map(str),
            st.integers(0, 20),
            st.one_of(st.none(), st.integers(0, 25)),
            opened=st.booleans(),
        ),
        max_size=8,
    ),
    uses_,
)
@settings(max_examples=60)
def test_without_receipts_it_agrees_with_picking_lots_one_pour_at_a_time(supplies, uses):
    holdings = [
        fefo.Holding(s.code, Decimal(s.quantity), s.usable_until, s.opened) for s in supplies
    ]
    short = {}
    for need in sorted(uses, key=lambda u: (max(u.day, DAY0), u.day, u.pour)):
        if need.day < day(20):
            found = fefo.allocate(holdings, Decimal(need.quantity), max(need.day, DAY0))
            holdings = fefo.less(holdings, found.picks)
            if found.short:
                short[need.pour] = float(found.short)
    assert {p.pour: p.quantity for p in look(supplies, uses, days=20).short_pours} == short
