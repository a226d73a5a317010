"""Each thing a foreman may decide changes the plan the way it says."""

from dataclasses import fields, replace

import pytest

from planning.core.check import check
from planning.core.plan import Plan, Problem
from planning.core.problem import Layer, Mixer, Person, Place, Settings, Step
from planning.core.week import plan_week
from tests.planning.core.small_weeks import (
    DAY,
    QUICK,
    clocks,
    coat,
    lots,
    pour,
    problem,
    set_to,
    shifts,
    system,
)


def planned(week: Problem) -> Plan:
    plan = plan_week(week)
    assert check(week, plan) == []
    return plan


def pots(week: Problem, **settings: object) -> int:
    return planned(set_to(week, **settings)).figures.pots


def test_every_setting_has_a_default_and_a_sentence_of_help():
    source = open("planning/core/problem.py", encoding="utf-8").read()  # noqa: SIM115
    body = source.split("class Settings:")[1].split("def __post_init__")[0]
    Settings()
    for field in fields(Settings):
        after = body.split(f"    {field.name}: ")[1].splitlines()
        assert after[1].strip().startswith('"""'), field.name


def test_a_pot_life_factor_keeps_a_margin():
    week = problem(pour("A", 9.0), systems=(system(conditions=(clocks(pot_life_min=14),)),))
    assert pots(week, pot_life_factor=1.0) == 1
    assert pots(week, pot_life_factor=0.6) == 3


def test_sharing_can_be_forbidden_for_all_or_for_one_pour():
    week = problem(pour("A"), pour("B"))
    assert pots(week) == 1
    assert pots(week, allow_sharing=False) == 2
    assert pots(problem(pour("A"), pour("B", may_share=False))) == 2


def test_most_tools_to_a_pot():
    week = problem(*(pour(f"P{n}", 2.0) for n in range(4)))
    assert pots(week) == 1
    assert pots(week, most_tools_per_batch=2) == 2


def two_mixers(*pours, **other):
    crew = (Person("T1", shifts(), ("mix", "coat"), count=3),)
    return problem(*pours, people=crew, mixers=(Mixer("M1", 10.0, count=3),), **other)


def test_equal_batches_in_place_of_full_ones_and_a_remainder():
    week = two_mixers(pour("A", 12.0))
    parts = [p.kg for b in planned(week).batches for p in b.portions]
    assert sorted(parts) == pytest.approx([2.0, 10.0])
    equal = set_to(week, equal_batches=True)
    assert [p.kg for b in planned(equal).batches for p in b.portions] == pytest.approx([6.0, 6.0])


def test_more_lifts_than_the_fewest():
    week = problem(pour("A", layers=(Layer(20.0, 2.0), Layer(20.0, 2.0))))
    assert len(planned(week).lifts) == 1
    assert len(planned(set_to(week, extra_lifts=1)).lifts) == 2


def test_no_lift_is_thinner_than_the_least():
    layers = (Layer(45.0, 4.0), Layer(5.0, 0.5), Layer(25.0, 2.0))
    week = problem(pour("A", layers=layers))
    assert [x.depth_mm for x in planned(week).lifts] == [45.0, 30.0]
    assert planned(set_to(week, least_lift_mm=40.0)).unplaced[0].rule == "lift_depth"


def overdue():
    kind = system(conditions=(clocks(gap_least_min=480, gap_greatest_min=600),), abrade_min=10)
    return problem(pour("A", layers=(Layer(40.0, 3.0), Layer(40.0, 3.0))), systems=(kind,))


def test_an_overdue_lift_is_abraded_or_forbidden():
    plan = planned(overdue())
    assert [t.kind for t in plan.tasks] == ["abrade"]
    assert planned(set_to(overdue(), overdue_lift="forbid")).unplaced[0].rule == "lift_gap"


def test_no_pour_after_the_last_pour_time():
    week = problem(pour("A", earliest_min=700))
    assert planned(week).batches[0].start_min == 700
    late = planned(set_to(week, last_pour_clock_min=690)).batches[0]
    assert late.start_min == DAY + 480


def test_the_pour_follows_the_last_coat_in_time():
    long = Step("coat", "Release coat", 10, 30, "coat", longest_wait_min=3 * DAY)
    week = problem(
        pour("A", before=(long,), due_min=0),
        people=(Person("C", ((0, 100),), ("coat",)), Person("T1", shifts(), ("mix",))),
    )
    assert planned(week).unplaced == ()
    assert planned(set_to(week, coat_to_pour_most_min=120)).unplaced[0].pour == "A"


def test_one_pair_of_lots_against_first_expired():
    resin = lots()[0]
    first = replace(lots()[1].containers[0], id="a", kg=1.0, usable_until_min=5 * DAY)
    second = replace(first, id="b", kg=9.0, usable_until_min=9 * DAY)
    stock = (resin, replace(lots()[1], id="H1", containers=(first,)))
    stock = (*stock, replace(lots()[1], id="H2", containers=(second,)))
    week = problem(pour("A", 8.0), lots=stock)
    hardener = lambda plan: [u.lot for u in plan.batches[0].lots if u.role == "hardener"]  # noqa: E731
    assert hardener(planned(week)) == ["H2"]
    assert hardener(planned(set_to(week, lot_rule="first_expired"))) == ["H1", "H2"]


def test_late_minutes_can_be_traded_for_pots():
    week = problem(pour("A", due_min=1094), pour("B", earliest_min=500))
    assert pots(week) == 2
    assert pots(week, late_minutes_per_pot=60.0) == 1
    assert pots(week, late_minutes_per_pot=5.0) == 2


def rushed():
    """Return a week with a plan, and the same week with a heavier pour that wants its time."""
    week = problem(pour("A", 9.0, due_min=1099, may_share=False), limits=QUICK)
    before = planned(week)
    rush = pour("R", 9.0, due_min=1099, weight=3, may_share=False)
    return before, replace(week, pours=(*week.pours, rush), previous=before)


def test_the_freeze_horizon_holds_what_is_printed():
    before, week = rushed()
    frozen = planned(set_to(week, freeze_until_min=600))
    assert before.batches[0] in frozen.batches
    assert frozen.moves == ()


def test_a_move_is_worth_so_many_late_minutes():
    _, week = rushed()
    kept = planned(set_to(week, late_minutes_per_move=1000.0))
    moved = planned(set_to(week, late_minutes_per_move=0.0))
    assert kept.moves == ()
    assert [m.what for m in moved.moves] == ["A, lift 1"]
    assert moved.figures.lateness < kept.figures.lateness


def test_a_move_is_not_made_for_less_than_its_price_in_pots():
    week = problem(pour("A", earliest_min=500))
    before = planned(week)
    more = replace(week, pours=(*week.pours, pour("B", earliest_min=600)), previous=before)
    free = planned(set_to(more, move_price=0.0, late_minutes_per_move=0.0))
    dear = planned(set_to(more, move_price=2.0, late_minutes_per_move=0.0))
    assert (free.figures.pots, len(free.moves)) == (1, 1)
    assert (dear.figures.pots, dear.moves) == (2, ())


def test_an_oven_load_shares_one_cycle_and_start():
    bake = Step("bake", "Post-cure", 5, 240, "coat", oven_cycle="60C")
    week = problem(
        *(pour(f"P{n}", 3.0, after=(bake,)) for n in range(3)),
        places=(Place("bench-1", "bench", 6), Place("oven-1", "oven", 3)),
        people=(Person("T1", shifts(), ("mix", "coat"), count=3),),
    )
    plan = planned(week)
    assert len({t.oven_start_min for t in plan.tasks}) == 1


def test_steps_before_the_pour_and_two_person_pours_are_kept():
    week = problem(
        pour("A", before=(coat(10, 30), replace(coat(10, 30), id="coat2"))),
        systems=(system(hands=2),),
        people=(Person("T", shifts(), ("mix", "coat"), count=2),),
    )
    plan = planned(week)
    assert plan.batches[0].people == ("T", "T")
    assert [t.step for t in plan.tasks] == ["coat", "coat2"]
