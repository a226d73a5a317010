"""When kinetics count as the shop's own: enough records, close enough, and unchanged since."""

import math

import pytest

from shop.core.own_kinetics import KEY, origin, told_by

CONSTANTS = {"a1_per_s": 19324.0, "e1_j_mol": 52e3, "m": 1.0, "thermal": {"heat_j_kg": 350e3}}
CLOSE = {"pours": 3, "readings": 90, "rms_k": 0.4, "rate_percent": 12.0, "heat_percent": 2.0}


def kept(hardener="H-1", per_100=12.0, **changes):
    told = told_by(CONSTANTS, hardener, per_100, **CLOSE | changes)
    return {**CONSTANTS, KEY: told}


def test_a_close_fit_of_enough_records_is_the_shops_own():
    found = origin(kept(), "H-1", 12.0)
    assert (found.calibrated, found.words) == (True, "fitted from 3 records of this shop")


@pytest.mark.parametrize("changes", [
    {"pours": 2}, {"pours": 1}, {"readings": 39}, {"rms_k": 1.01}, {"rate_percent": 25.1},
    {"heat_percent": 6.1}, {"rms_k": math.nan}, {"heat_percent": math.inf}, {"rms_k": -0.1},
])  # fmt: skip
def test_a_fit_that_falls_short_is_not_relied_on(changes):
    found = origin(kept(**changes), "H-1", 12.0)
    assert not found.calibrated
    assert "not relied on" in found.words


@pytest.mark.parametrize(("changed", "hardener", "per_100"), [
    ({"a1_per_s": 19400.0}, "H-1", 12.0), ({"thermal": {"heat_j_kg": 360e3}}, "H-1", 12.0),
    ({"brake_c": 30.0}, "H-1", 12.0), ({}, "H-2", 12.0), ({}, "H-1", 12.5),
])  # fmt: skip
def test_a_later_change_makes_it_kinetics_from_elsewhere(changed, hardener, per_100):
    found = origin({**kept(), **changed}, hardener, per_100)
    assert not found.calibrated
    assert found.words.startswith("from the data sheet: changed since")


def test_a_constant_taken_away_is_a_change():
    without = {name: value for name, value in kept().items() if name != "m"}
    assert not origin(without, "H-1", 12.0).calibrated


def test_figures_kept_as_text_are_the_same_figures():
    as_text = {**kept(), "a1_per_s": "19324", "thermal": {"heat_j_kg": "350000"}}
    assert origin(as_text, "H-1", 12.0).calibrated


@pytest.mark.parametrize("told", [None, "yes", [], {}, {"pours": "many"}, {"pours": 3}])
def test_what_cannot_be_read_counts_for_nothing(told):
    found = origin({**CONSTANTS, KEY: told}, "H-1", 12.0)
    assert not found.calibrated
    assert found.words.startswith("from the data sheet")


def test_no_kinetics_are_nobodys():
    assert origin(None, "H-1", 12.0).words == "no kinetics"
