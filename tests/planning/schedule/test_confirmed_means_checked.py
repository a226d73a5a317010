"""A plan is confirmed only if it holds in the shop as it is at that minute."""

from datetime import date, time, timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch
from planning.pours.actions import change_pour
from planning.pours.models import Pour, PourStep
from planning.pours.steps import sign_step
from planning.rules.actions import keep_rules
from planning.schedule import actions, queries
from planning.schedule.comparison import plan_before, side_by_side
from planning.schedule.models import PlanState, WeekPlan
from shared import clock
from shared.access.models import User
from shop.lots.models import LotStatus
from shop.models import Container, DayChange, ExpectedTemperature, Lot, Mixer, Person, Place

pytestmark = pytest.mark.django_db


@pytest.fixture
def ready(shop_site, now):
    """Ask for a plan of a week and work it out, without confirming it."""

    def make(week="2026-W49", at=now, seconds=0.5):
        wish = actions.request_plan(site=shop_site, week=week, now=at, seconds=seconds)
        plan = actions.solve(plan_id=wish.pk, now=at)
        assert plan.violations == []
        return plan

    return make


def refused(plan, now, *words):
    """Try to confirm a plan that no longer holds; nothing of it is written."""
    before = list(Batch.objects.values_list("pk", "number", "version"))
    with pytest.raises(actions.PlanOutOfDate) as found:
        actions.confirm(plan=plan, now=now)
    for one in words:
        assert one in found.value.message
    plan.refresh_from_db()
    assert plan.state == PlanState.READY
    assert list(Batch.objects.values_list("pk", "number", "version")) == before
    return found.value


def people_of(plan):
    return {int(p) for b in plan.plan["batches"] for p in b["people"]}


def test_a_person_who_fell_ill_since_the_plan_was_made_is_named(take, ready, shop_site, now):
    take()
    plan = ready()
    ill = Person.objects.get(pk=min(people_of(plan)))
    for day in range(14):
        DayChange.objects.create(person=ill, day=date(2026, 11, 30) + timedelta(days=day))
    error = refused(plan, now + timedelta(minutes=14), ill.name, "away")
    assert error.code == "plan_out_of_date"


def test_a_pour_whose_priority_changed_meanwhile_is_named_and_keeps_its_steps(take, ready, now):
    pour = take()
    plan = ready()
    steps = set(PourStep.objects.values_list("pk", flat=True))
    change_pour(pour=pour, changes={"priority": 5})
    assert set(PourStep.objects.values_list("pk", flat=True)) == steps
    refused(plan, now, "T-1 A", "priority")


def test_a_pour_that_became_larger_is_not_cast_at_its_old_mass(take, ready, now):
    pour = take()
    plan = ready()
    change_pour(pour=pour, changes={"depth_mm": Decimal(60)})
    refused(plan, now, "T-1 A", "size or mass")
    assert not Batch.objects.exists()


def test_a_pour_due_earlier_than_the_planner_saw_is_named(take, ready, now):
    pour = take()
    plan = ready()
    change_pour(pour=pour, changes={"due_on": date(2026, 12, 1)})
    refused(plan, now, "T-1 A is due Tue 01 Dec instead of Fri 04 Dec")


@pytest.mark.parametrize("what", ["held", "less"])
def test_stock_that_is_gone_is_named(take, ready, now, what):
    take()
    plan = ready()
    used = {int(use["container"]) for b in plan.plan["batches"] for use in b["lots"]}
    can = Container.objects.filter(pk__in=used).order_by("pk").first()
    if what == "held":
        Lot.objects.filter(pk=can.lot_id).update(status=LotStatus.HELD)
    else:
        Container.objects.filter(pk=can.pk).update(balance=Decimal("0.01"))
    refused(plan, now, can.lot.code)


def test_a_mixer_out_of_use_is_named(take, ready, now):
    take()
    plan = ready()
    mixer = Mixer.objects.get(pk=int(plan.plan["batches"][0]["mixer"]))
    Mixer.objects.filter(pk=mixer.pk).update(in_use=False)
    refused(plan, now, mixer.name, "out of use")


def test_a_place_out_of_use_is_named(take, ready, now):
    take()
    plan = ready()
    place = Place.objects.get(pk=int(plan.plan["stands"][0]["place"]))
    Place.objects.filter(pk=place.pk).update(in_use=False)
    refused(plan, now, place.name, "out of use")


def test_a_much_warmer_shop_breaks_what_was_planned_for_a_cool_one(take, ready, shop_site, now):
    take(depth_mm="40", length_mm="400", width_mm="400", due_in_days=8)
    plan = ready()
    for day in range(21):
        ExpectedTemperature.objects.create(
            site=shop_site, day=date(2026, 11, 30) + timedelta(days=day), shop_c=Decimal(35)
        )
    refused(plan, now, "shop temperature")


def test_rules_made_stricter_since_hold_for_the_plan(take, ready, shop_site, now):
    take()
    plan = ready()
    keep_rules(site_id=shop_site.pk, values={"last_pour_clock_min": 1})
    refused(plan, now, "planning rules")


def test_a_plan_still_unread_an_hour_after_its_first_work_should_have_begun(take, ready, now):
    take()
    plan = ready()
    first = min(row["start_min"] for row in plan.plan["tasks"])
    begins = now.replace(hour=0) - timedelta(hours=1) + timedelta(minutes=first)
    refused(plan, begins + timedelta(hours=1))


def test_a_step_signed_meanwhile_is_taken_as_it_was(take, ready, now):
    pour = take()
    plan = ready()
    step = pour.steps.filter(phase="before").order_by("order").first()
    first = min(row["start_min"] for row in plan.plan["tasks"])
    begins = now.replace(hour=0) - timedelta(hours=1) + timedelta(minutes=first)
    done = begins + timedelta(minutes=step.hands_min)
    sign_step(step=step, at=done, now=done, by=None)
    confirmed = actions.confirm(plan=plan, now=begins + timedelta(minutes=step.hands_min + 1))
    assert confirmed.state == PlanState.CONFIRMED
    task = next(t for t in confirmed.plan["tasks"] if t["step"] == str(step.pk))
    assert task["end_min"] == first + step.hands_min


def test_what_changed_but_breaks_nothing_does_not_stop_a_plan(take, ready, now):
    take()
    plan = ready()
    idle = Person.objects.exclude(pk__in=people_of(plan)).first()
    if idle is not None:
        DayChange.objects.create(person=idle, day=date(2026, 12, 4), starts=time(8), ends=time(9))
    assert actions.confirm(plan=plan, now=now).state == PlanState.CONFIRMED


@pytest.fixture
def planner(client, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    client.force_login(User.objects.get(username="petra"))
    return client


def test_the_page_answers_with_a_sentence_and_offers_a_new_plan(take, ready, planner):
    pour = take()
    plan = ready()
    change_pour(pour=pour, changes={"priority": 5})
    page = planner.post(f"/plans/{plan.pk}/confirm/", follow=True)
    assert page.status_code == 200
    words = page.content.decode()
    assert "no longer holds" in words
    assert "Ask for a new plan" in words


def test_the_call_answers_409_with_what_broke(take, ready, planner):
    pour = take()
    plan = ready()
    change_pour(pour=pour, changes={"priority": 5})
    answer = planner.post(
        f"/api/v1/plans/{plan.pk}/confirmations",
        {},
        content_type="application/json",
        headers={"Idempotency-Key": "confirm-this-plan-1"},
    )
    assert answer.status_code == 409
    assert answer.json()["code"] == "plan_out_of_date"
    assert any("priority" in words for words in answer.json()["broken"])


def test_only_the_newest_plan_is_offered_and_confirmed(take, ready, shop_site, now):
    take()
    older, newer = ready(), ready()
    older.refresh_from_db()
    assert older.state == PlanState.REPLACED
    with pytest.raises(actions.PlanNotReady):
        actions.confirm(plan=older, now=now)
    actions.confirm(plan=newer, now=now)
    assert queries.current_plan(shop_site.pk, "2026-W49") == newer
    assert not WeekPlan.objects.filter(state=PlanState.READY).exists()


def test_a_plan_worked_out_late_by_a_slow_worker_does_not_come_back(take, shop_site, now):
    take()
    slow = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    quick = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    actions.confirm(plan=actions.solve(plan_id=quick.pk, now=now), now=now)
    assert actions.solve(plan_id=slow.pk, now=now).state == PlanState.REPLACED


def test_of_two_planners_one_wins_and_the_other_is_told_what_was_confirmed(take, ready, now):
    take()
    first = ready()
    second = ready()
    WeekPlan.objects.filter(pk=first.pk).update(state=PlanState.READY)
    actions.confirm(plan=second, now=now)
    WeekPlan.objects.filter(pk=first.pk).update(state=PlanState.READY)
    refused(first, now, f"Plan {second} was confirmed")


def test_a_change_between_judging_and_writing_makes_the_plan_judged_again(
    take, ready, now, monkeypatch
):
    take()
    plan = ready()
    ill = Person.objects.get(pk=min(people_of(plan)))
    judge, judged = actions.look_now, []

    def look(plan, at):
        seen = judge(plan, at)
        if not judged:
            for day in range(14):
                DayChange.objects.create(person=ill, day=date(2026, 11, 30) + timedelta(days=day))
        judged.append(seen)
        return seen

    monkeypatch.setattr(actions, "look_now", look)
    refused(plan, now, ill.name)
    assert len(judged) == 2


def test_a_plan_that_places_nothing_cannot_be_confirmed(take, ready, now):
    take()
    Lot.objects.update(status=LotStatus.HELD)
    plan = ready()
    with pytest.raises(actions.PlanNotReady, match="places no pour"):
        actions.confirm(plan=plan, now=now)
    assert Pour.objects.get().status == "asked"


def batches_of(number):
    rows = Batch.objects.filter(portions__lift__pour__order__number=number)
    return set(rows.values_list("number", "planned_start"))


def test_two_weeks_stand_side_by_side(take, ready, shop_site, now):
    take("T-1")
    one = actions.confirm(plan=ready("2026-W49"), now=now)
    held = batches_of("T-1")
    take("T-2", due_in_days=11, may_share=False)
    both = ready("2026-W50")
    assert len(both.problem["pours"]) == 2
    two = actions.confirm(plan=both, now=now)
    assert batches_of("T-1") == held
    one.refresh_from_db()
    assert one.state == PlanState.REPLACED
    assert queries.current_plan(shop_site.pk, "2026-W49") == two
    assert queries.current_plan(shop_site.pk, "2026-W50") == two
    assert set(Pour.objects.values_list("status", flat=True)) == {"planned"}


def test_a_pot_that_gets_another_number_is_named_before_it_is_confirmed(take, ready, now):
    take("T-1")
    actions.confirm(plan=ready("2026-W49"), now=now)
    held = batches_of("T-1")
    take("T-2", due_in_days=11)  # shares the pot of T-1
    both = ready("2026-W50")
    named = side_by_side(plan_before(both), both)["numbers_gone"]
    actions.confirm(plan=both, now=now)
    assert {number for number, _ in held - batches_of("T-1")} == set(named)
    assert named


def test_planning_this_week_again_keeps_what_is_confirmed_for_the_next(take, ready, now):
    take("T-1")
    take("T-2", due_in_days=11, earliest_on=date(2026, 12, 7))
    actions.confirm(plan=ready("2026-W50"), now=now)
    assert Batch.objects.filter(planned_start__gte=now + timedelta(days=7)).exists()
    numbers = set(Batch.objects.values_list("number", flat=True))
    again = actions.confirm(plan=ready("2026-W49", at=now + timedelta(hours=1)), now=now)
    assert not again.plan["unplaced"]
    assert set(Batch.objects.values_list("number", flat=True)) == numbers
    assert set(Pour.objects.values_list("status", flat=True)) == {"planned"}


def test_requirements_of_steps_are_told_once_for_the_whole_site(take, ready, now):
    from shop.models import Requirement

    take("T-1")
    actions.confirm(plan=ready("2026-W49"), now=now)
    actions.confirm(plan=ready("2026-W50"), now=now)
    sources = Requirement.objects.filter(source__startswith="steps:").values_list(
        "source", flat=True
    )
    assert len(set(sources)) == 1


def test_a_plan_that_changes_another_is_confirmed_by_who_has_seen_what_changes(
    take, ready, planned, planner
):
    planned(take())
    take("T-2")
    plan = ready()

    def confirm(**body):
        return planner.post(
            f"/api/v1/plans/{plan.pk}/confirmations",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": f"confirm-what-was-seen-{body.get('seen', 'not')[:8]}"},
        )

    assert confirm().json()["code"] == "comparison_not_seen"
    assert confirm(seen="0" * 32).json()["code"] == "comparison_not_seen"
    page = planner.post(f"/plans/{plan.pk}/confirm/", follow=True)
    assert "Look at what changes first" in page.content.decode()
    compared = planner.get(f"/api/v1/plans/{plan.pk}/comparison").json()
    assert [row["name"] for row in compared["pours"]]
    assert compared["seen"] in planner.get(f"/plans/{plan.pk}/compare/").content.decode()
    assert confirm(seen=compared["seen"]).status_code == 201
    plan.refresh_from_db()
    assert plan.state == PlanState.CONFIRMED
