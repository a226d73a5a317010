"""The gate before a pour: each hindrance by itself, and which of them a reason passes."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from planning.core.casting.dew_point import LEAST_MARGIN_K
from planning.core.casting.pour_gate import (
    LEAST_SURFACE_C,
    CanInPot,
    Facts,
    Mixing,
    TargetLift,
    Underneath,
    hindrances,
)

AT = datetime(2026, 11, 30, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)
CAN = CanInPot("C-1", "L-1", "released", AT + HOUR, "Resin", "Resin")
BELOW = Underneath("T-1 A lift 1", True, AT - HOUR, AT + HOUR)
LIFT = TargetLift("T-1 A lift 2", (), (BELOW,))
READY = Facts(
    at=AT,
    pour_at=AT,
    cans=(CAN,),
    lifts=(LIFT,),
    ratio_off_percent=1.9,
    ratio_tolerance_percent=2.0,
    pour_by=AT + timedelta(minutes=1),
    surface_c=LEAST_SURFACE_C,
    margin_k=LEAST_MARGIN_K,
)


def can(**changed):
    return replace(READY, cans=(replace(CAN, **changed),))


def below(**changed):
    return replace(READY, lifts=(replace(LIFT, underneath=(replace(BELOW, **changed),)),))


def test_nothing_stands_in_the_way_of_a_pot_that_is_ready_to_the_last_figure():
    assert hindrances(READY) == ()
    assert hindrances(replace(READY, surface_c=None, margin_k=None)) == ()


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        (can(lot_status="held"), "lot_not_released"),
        (can(lot_status="quarantine"), "lot_not_released"),
        (can(usable_until=AT), "lot_expired"),
        (can(material="Wax"), "wrong_component"),
        (replace(READY, ratio_off_percent=-2.1), "ratio"),
        (replace(READY, ratio_off_percent=None), "not_weighed"),
        (replace(READY, pour_by=AT), "pot_life_over"),
        (below(poured=False), "lower_not_poured"),
        (below(opens_at=AT + timedelta(minutes=1)), "lower_not_open"),
    ],
)
def test_no_reason_passes_what_would_spoil_the_casting_or_hurt_somebody(facts, code):
    (found,) = hindrances(facts)
    assert (found.code, found.reason_passes) == (code, False)
    assert found.words.endswith(".")
    assert found.what_to_do.endswith(".")


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        (replace(READY, lifts=(replace(LIFT, unsigned=("Coat 2", "Cones")),)), "steps_unsigned"),
        (below(closes_at=AT - timedelta(minutes=1)), "window_closed"),
        (replace(READY, surface_c=LEAST_SURFACE_C - 0.1), "surface_cold"),
        (replace(READY, margin_k=LEAST_MARGIN_K - 0.1), "surface_damp"),
    ],
)
def test_a_reason_with_a_name_passes_what_a_skilled_eye_may_judge(facts, code):
    (found,) = hindrances(facts)
    assert (found.code, found.reason_passes) == (code, True)


def test_a_closed_window_is_no_hindrance_once_the_lift_is_abraded():
    assert hindrances(below(closes_at=AT - HOUR, abraded=True)) == ()


def test_a_lift_that_opens_while_the_pot_is_mixed_may_be_mixed_for():
    facts = below(opens_at=AT + timedelta(minutes=3))
    assert hindrances(replace(facts, pour_at=AT + timedelta(minutes=4))) == ()


def test_what_no_reason_passes_is_told_first():
    facts = replace(can(lot_status="held"), surface_c=3.0)
    assert [one.code for one in hindrances(facts)] == ["lot_not_released", "surface_cold"]


def mixed(seconds, second=None, ended=None):
    since, after = AT - timedelta(seconds=seconds), timedelta(seconds=1)
    return replace(
        READY,
        mixing=Mixing(
            since,
            AT if ended is None else since + ended * after,
            timedelta(minutes=4),
            None if second is None else since + second * after,
        ),
    )


@pytest.mark.parametrize(
    "facts",
    [
        pytest.param(mixed(240), id="exactly as long as asked"),
        pytest.param(mixed(240, second=120), id="half of it in each container"),
        pytest.param(mixed(900, ended=240), id="it stood after it was mixed long enough"),
    ],
)
def test_a_pot_that_is_mixed_long_enough_may_be_poured(facts):
    assert hindrances(facts) == ()


@pytest.mark.parametrize(
    ("facts", "words", "wanted_s"),
    [
        (mixed(239), "The pot was mixed 3:59 min; at least 4:00 min are wanted.", 240),
        (mixed(300, second=181), "In its second container the pot was mixed 1:59 min; at", 301),
        (mixed(900, ended=65), "The pot was mixed 1:05 min", 240),
        (mixed(10, ended=-5), "The pot was mixed 0:00 min", 240),
    ],
)
def test_a_pot_that_is_mixed_less_than_asked_needs_a_reason(facts, words, wanted_s):
    (found,) = hindrances(facts)
    assert (found.code, found.reason_passes) == ("mixed_too_short", True)
    assert found.words.startswith(words)
    assert found.clears_at == facts.mixing.since + timedelta(seconds=wanted_s)
