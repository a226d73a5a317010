from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.core.fefo import CastingNeed, Holding, allocate, allocate_pairs, less, pair_up
from tests.reference_cases import params

DAY0 = date(2026, 11, 25)


def d(value):
    return Decimal(str(value))


def holding(lot, quantity, days=None, **kw):
    until = None if days is None else DAY0 + timedelta(days=days)
    return Holding(lot, d(quantity), until, **kw)


@pytest.mark.parametrize("case", params("stock_checks.csv", "fefo_1", "fefo_2", "fefo_3"))
def test_picking_rows(case):
    lots = [holding(code, quantity, until) for code, quantity, until in case.inputs["lots"]]
    found = allocate(lots, d(case.inputs["need"]), DAY0 + timedelta(days=case.inputs["day"]))
    picks = [[p.lot, float(p.quantity)] for p in found.picks]
    assert {"picks": picks, "short": float(found.short)} == case.expected, case.source


def test_an_opened_container_goes_before_a_sealed_one_that_expires_sooner():
    lots = [holding("SEALED", 5, 3), holding("OPEN", 2, 20, opened=True)]
    assert [(p.lot, p.opened) for p in allocate(lots, d(4), DAY0).picks] == [
        ("OPEN", True),
        ("SEALED", False),
    ]


def test_what_was_left_out_is_named_with_its_reason():
    lots = [
        holding("HELD", 5, 30, quarantined=True),
        holding("OLD", 5, -1),
        holding("STALE", 1, -2, opened=True),
        Holding("DUE", d(9), None, usable_from=DAY0 + timedelta(days=4)),
        holding("GOOD", 1, 0),
    ]
    found = allocate(lots, d(3), DAY0)
    assert found.short == 2
    assert {x.lot: x.reason for x in found.left_out} == {
        "HELD": "is in quarantine",
        "OLD": "expired on 2026-11-24",
        "STALE": "open life ended on 2026-11-23",
        "DUE": "is due only on 2026-11-29",
    }
    assert found.reason.startswith("short by 2; not usable: 1 of lot STALE open life ended")


def test_a_negative_need_or_balance_is_refused():
    with pytest.raises(ValueError, match="need is -1"):
        allocate([], d(-1), DAY0)
    with pytest.raises(ValueError, match="lot X holds -2"):
        allocate([holding("X", -2)], d(1), DAY0)


quantities = st.decimals(min_value=0, max_value=50, places=3)
holdings = st.lists(
    st.builds(
        holding,
        st.uuids().map(str),
        quantities,
        st.one_of(st.none(), st.integers(-5, 40)),
        opened=st.booleans(),
        quarantined=st.booleans(),
    ),
    max_size=8,
)


@given(holdings, quantities)
def test_picks_and_shortage_always_add_up_and_nothing_unusable_is_taken(lots, need):
    found = allocate(lots, need, DAY0)
    assert sum(p.quantity for p in found.picks) + found.short == need
    by_key = {(x.lot, x.opened): x for x in lots}
    for pick in found.picks:
        source = by_key[pick.lot, pick.opened]
        assert not source.quarantined
        assert source.usable_until is None or source.usable_until >= DAY0
        assert 0 < pick.quantity <= source.quantity
    free = sum(x.quantity for x in lots) - sum(x.quantity for x in found.left_out)
    assert found.short == max(Decimal(0), need - free)
    remaining = less(lots, found.picks)
    assert sum(x.quantity for x in lots) - sum(x.quantity for x in remaining) == need - found.short


def casting(name, resin, hardener, day=0):
    return CastingNeed(name, DAY0 + timedelta(days=day), d(resin), d(hardener))


def test_a_casting_takes_one_lot_pair_where_one_covers_it():
    resin = [holding("R1", 3, 10), holding("R2", 30, 40)]
    hardener = [holding("H1", 1, 10), holding("H2", 9, 40)]
    (few,) = allocate_pairs([casting("C", 20, 4)], resin, hardener)
    (strict,) = allocate_pairs([casting("C", 20, 4)], resin, hardener, few_pairs=False)
    assert [(p.resin_lot, p.hardener_lot) for p in few.pairs] == [("R2", "H2")]
    assert len(strict.pairs) == 3
    assert strict.resin.picks[0].lot == "R1"


def test_kits_of_one_ratio_pair_up_without_a_mixed_pair():
    resin = [holding("R1", 5, 10), holding("R2", 5, 20)]
    hardener = [holding("H1", 1, 30), holding("H2", 1, 40)]
    (found,) = allocate_pairs([casting("C", 10, 2)], resin, hardener)
    assert [(p.resin_kg, p.hardener_kg) for p in found.pairs] == [(5, 1), (5, 1)]


def test_the_second_casting_sees_what_the_first_left():
    resin = [holding("R1", 10, 10), holding("R2", 10, 20)]
    hardener = [holding("H1", 4, 10)]
    first, second = allocate_pairs(
        [casting("late", 10, 2, day=3), casting("early", 8, 1.6)], resin, hardener
    )
    assert (first.casting, second.casting) == ("early", "late")
    assert [(p.resin_lot, p.hardener_lot) for p in second.pairs] == [("R2", "H1")]


def test_a_short_hardener_is_said_and_the_resin_is_still_listed():
    (found,) = allocate_pairs(
        [casting("C", 10, 2)], [holding("R", 12, 5)], [holding("H", 9, -1), holding("H2", 1.5, 3)]
    )
    assert found.hardener.short == d(0.5)
    assert "expired on 2026-11-24" in found.hardener.reason
    assert sum(p.hardener_kg for p in found.pairs) == d(1.5)


@given(st.lists(st.integers(1, 30), min_size=1, max_size=6), st.integers(1, 60))
def test_the_fewest_lots_are_taken_and_of_those_the_first_to_expire(sizes, need):
    lots = [holding(f"R{i}", size, i) for i, size in enumerate(sizes)]
    (found,) = allocate_pairs([casting("C", need, 1)], lots, [holding("H", 1, 3)])
    if sum(sizes) < need:
        assert found.resin.short == need - sum(sizes)
        return
    covering = [
        set_
        for count in range(1, len(sizes) + 1)
        for set_ in combinations(range(len(sizes)), count)
        if sum(sizes[i] for i in set_) >= need
    ]
    fewest = min(map(len, covering))
    first = min(set_ for set_ in covering if len(set_) == fewest)
    assert [p.lot for p in found.resin.picks] == [f"R{i}" for i in first]


@given(
    st.lists(st.integers(1, 9), min_size=1, max_size=3),
    st.lists(st.integers(1, 9), min_size=1, max_size=3),
)
def test_pairs_keep_the_ratio_and_use_every_pick_once(resin_sizes, hardener_sizes):
    resin_kg, hardener_kg = d(sum(resin_sizes)), d(sum(hardener_sizes))
    resin = allocate([holding(f"R{i}", q, i) for i, q in enumerate(resin_sizes)], resin_kg, DAY0)
    hard = allocate(
        [holding(f"H{i}", q, i) for i, q in enumerate(hardener_sizes)], hardener_kg, DAY0
    )
    pairs = pair_up(resin.picks, hard.picks, resin_kg, hardener_kg)
    assert max(len(resin_sizes), len(hardener_sizes)) <= len(pairs)
    assert len(pairs) <= len(resin_sizes) + len(hardener_sizes) - 1
    for pair in pairs:
        assert float(pair.resin_kg * hardener_kg) == pytest.approx(
            float(pair.hardener_kg * resin_kg)
        )
    for pick in resin.picks:
        used = sum(p.resin_kg for p in pairs if p.resin_lot == pick.lot)
        assert float(used) == pytest.approx(float(pick.quantity))
