"""When the week slips: what is printed stays, little else moves, and each move says why."""

import re
from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plan import Plan, Problem
from planning.core.problem import Layer, Limits, Person
from planning.core.week import plan_week
from planning.core.whatif import (
    AS_IT_IS,
    NO_CHANGE,
    another_person,
    answers,
    bigger_mixer,
    difference,
    open_day,
    warmer_shop,
    without_person,
)
from tests.benchmarks.generator import week
from tests.planning.core.small_weeks import coat as any_coat
from tests.planning.core.small_weeks import pour, problem, shifts, system

DAY = 1440
NOW = DAY + 420


def first_plan(pours: int, seed: int, people: int = 0) -> tuple[Problem, Plan]:
    problem = replace(week(pours, seed, people=people), limits=Limits(60, seed, work=pours * 20))
    return problem, plan_week(problem)


def again(problem: Problem, plan: Plan, **changed: object) -> Problem:
    settings = replace(problem.settings, freeze_until_min=NOW)
    return replace(problem, previous=plan, settings=settings, **changed)  # type: ignore[arg-type]


def portions(plan: Plan) -> set[tuple[str, int, float, int]]:
    return {(p.pour, p.lift, p.kg, p.start_min) for b in plan.batches for p in b.portions}


def rush(problem: Problem, count: int = 2):
    return tuple(
        replace(p, id=f"{p.id}-rush", stands_on=None, same_place=False, earliest_min=NOW,
                due_min=3 * DAY + 1020, weight=3)
        for p in problem.pours[:count]
    )  # fmt: skip


def test_nothing_moves_where_nothing_happened():
    problem, plan = first_plan(24, 3)
    same = plan_week(again(problem, plan, limits=Limits(60, 3, work=0)))
    assert same.moves == ()
    assert portions(same) == portions(plan)


def test_two_rush_pours_and_a_person_away_two_days_move_little():
    problem, plan = first_plan(60, 2, people=5)
    after = without_person(problem, "T1", DAY, 3 * DAY)
    after = again(after, plan, pours=(*problem.pours, *rush(problem)))
    found = plan_week(after)
    assert check(after, found) == []
    assert found.unplaced == ()
    frozen = {b for b in plan.batches if b.start_min < NOW}
    assert frozen
    assert frozen <= set(found.batches)
    moved = portions(plan) - portions(found)
    assert len(moved) <= 0.15 * len(portions(plan))
    told = {(m.pour, m.lift, m.from_min) for m in found.moves if not m.step}
    assert {(p, lift, start) for p, lift, _, start in moved} <= told
    stay = {p for p, *_ in portions(plan)} - {p for p, *_ in moved}
    assert len(moved_steps(plan, found, stay)) <= 0.15 * len(plan.tasks)
    assert all(m.reason.endswith(".") for m in found.moves)


def moved_steps(plan: Plan, found: Plan, pours: set[str]) -> set[tuple[str, str]]:
    """Return the steps of some pours that begin at another time."""
    before, after = (
        {(t.pour, t.step): t.start_min for t in p.tasks if t.step and t.pour in pours}
        for p in (plan, found)
    )
    return {key for key, start in before.items() if after.get(key) != start}


def test_one_coat_that_loses_its_person_moves_alone():
    coats = tuple(replace(any_coat(), id=id) for id in ("one", "two", "three"))
    mixing = Person("T3", shifts(), ("mix",))
    week = problem(pour("A", before=coats), people=(Person("T1", shifts(), ("coat",)), mixing))
    plan = plan_week(replace(week, pours=(replace(week.pours[0], earliest_min=600),)))
    sooner = tuple(
        replace(t, start_min=t.start_min - 60, end_min=t.end_min - 60) if t.step == "one" else t
        for t in plan.tasks
    )
    plan = replace(plan, tasks=sooner)
    two = next(t for t in plan.tasks if t.step == "two")
    crew = (
        Person("T1", ((480, two.start_min), (two.end_min, 960)), ("coat",)),
        Person("T2", ((480, two.end_min - 5),), ("coat",)),
        mixing,
    )
    found = plan_week(replace(week, people=crew, previous=plan))
    assert moved_steps(plan, found, {"A"}) == {("A", "two")}
    assert portions(found) == portions(plan)
    (move,) = found.moves
    assert (move.step, move.from_min, move.to_min) == ("two", two.start_min, two.start_min - 5)


def test_a_pour_that_is_cast_in_fewer_lifts_by_now_leaves_no_pot_behind():
    thin, deep = system(deepest_lift_mm=20.0), system(deepest_lift_mm=60.0)
    layers = tuple(Layer(20.0, 2.0) for _ in range(3))
    week = problem(pour("A", layers=layers), systems=(thin,))
    plan = plan_week(week)
    assert [x.lift for x in plan.lifts] == [0, 1, 2]
    again = replace(week, systems=(deep,), previous=plan)
    found = plan_week(again)
    assert check(again, found) == []
    assert [x.lift for x in found.lifts] == [0]
    assert found.figures.pots == 1


def late_delivery(problem):
    return replace(problem, lots=tuple(
        replace(x, containers=tuple(replace(c, available_from_min=2 * DAY) for c in x.containers))
        if x.material == "R1" else x for x in problem.lots
    ))  # fmt: skip


EVENTS = {
    "a rush tool": lambda p: replace(p, pours=(*p.pours, *rush(p, 1))),
    "someone ill": lambda p: without_person(p, "T2", DAY, 2 * DAY),
    "a delivery late": late_delivery,
    "a cold night": lambda p: warmer_shop(p, 1.2),
    "a mixer in repair": lambda p: replace(
        p, mixers=(replace(p.mixers[0], closed=((DAY, 3 * DAY),)), *p.mixers[1:])
    ),
    "a pour cancelled": lambda p: replace(
        p, pours=tuple(x for x in p.pours if x.id != "P003" and x.stands_on != "P003")
    ),
}


@pytest.mark.parametrize("event", EVENTS)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_week_that_slips_still_breaks_no_rule(event, seed):
    problem, plan = first_plan(24, seed)
    after = EVENTS[event](again(problem, plan))
    assert check(after, plan_week(after)) == []


def test_a_pot_scrapped_is_poured_again():
    problem, plan = first_plan(24, 1)
    scrapped = next(b for b in plan.batches if b.start_min >= NOW)
    wrong = replace(plan, batches=tuple(b for b in plan.batches if b != scrapped))
    found = plan_week(again(problem, wrong))
    poured = {p.pour for b in found.batches for p in b.portions}
    assert {p.pour for p in scrapped.portions} <= poured
    assert check(problem, replace(found, moves=())) == []


def test_reasons_name_pours_people_and_lifts_and_carry_their_ids():
    problem, plan = first_plan(24, 2)
    problem = replace(
        problem,
        people=tuple(replace(p, name=f"Person {p.id[1:]}") for p in problem.people),
        pours=tuple(replace(p, name=f"Tool {p.id[1:]}") for p in problem.pours),
    )
    after = without_person(again(problem, plan), "T1", DAY, 3 * DAY)
    after = replace(after, pours=(*after.pours, *rush(problem, 3)))
    found = plan_week(after)
    names = {p.id: p.name for p in problem.pours}
    assert found.moves
    for move in found.moves:
        assert move.what.startswith(names[move.pour])
        if move.lift is not None:
            assert re.search(
                rf", (abrading before )?lift {move.lift + 1}(, pot [2-9])?$", move.what
            )
        assert not re.findall(r"\b[PT]\d+", f"{move.what} {move.reason}")
        assert (move.cause in {"people", "shares"}) == bool(move.others)


def test_what_if_leaves_the_problem_alone_and_compares_side_by_side():
    problem, plan = first_plan(24, 2)
    questions = {
        "another technician": another_person(problem, "T1"),
        "a bigger mixer": bigger_mixer(problem, "M1", 25.0),
        "a warmer shop": warmer_shop(problem, 0.8),
        "a Saturday": open_day(problem, 5, 4),
    }
    found = answers(problem, plan, questions, work=200)
    assert list(found) == [AS_IT_IS, *questions]
    assert found[AS_IT_IS].words == ""
    for name, answer in found.items():
        assert check(answer.problem, answer.plan) == [], name
    as_it_is = found[AS_IT_IS].plan.figures
    assert as_it_is.lateness <= plan.figures.lateness
    assert found["another technician"].plan.figures.lateness <= as_it_is.lateness
    assert all(check(q, plan_week(replace(q, limits=Limits(60, 1, work=60)))) == []
               for q in questions.values())  # fmt: skip


def test_a_question_that_changes_nothing_is_answered_so_whatever_the_search_finds():
    problem, plan = first_plan(24, 3)
    asked = {"as it is, again": replace(problem), "another seed": replace(
        problem, limits=replace(problem.limits, seed=problem.limits.seed + 7))}  # fmt: skip
    for work in (60, 400):
        found = answers(problem, plan, asked, work=work)
        assert found["as it is, again"].words == NO_CHANGE
        assert found["another seed"].plan.figures.lateness <= plan.figures.lateness


def test_what_a_question_changes_is_told_in_figures_and_words():
    problem, plan = first_plan(24, 2)
    alone = replace(problem, people=problem.people[:1])
    found = answers(problem, plan, {"one technician": alone}, work=100)["one technician"]
    assert found.lateness > 0
    assert found.lateness == found.plan.figures.lateness - plan.figures.lateness
    assert found.words.endswith(f" more weighted lateness, {found.pots} more pots")


def test_the_difference_of_two_plans_names_what_moved():
    problem, plan = first_plan(12, 4)
    other = plan_week(replace(problem, pours=problem.pours[:-1]))
    found = difference(plan, other)
    assert difference(plan, plan).shifts == ()
    assert found.dropped == (problem.pours[-1].id,)
    assert found.pots == other.figures.pots - plan.figures.pots
    gone = [s for s in found.shifts if s.pour == problem.pours[-1].id]
    assert gone
    assert all(s.to_min is None for s in gone)
