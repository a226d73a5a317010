"""Why pours are late or left out: looked for after the plan, told on the page and over REST."""

from datetime import timedelta

import pytest

from planning import tasks
from planning.schedule import actions, queries, reasons
from planning.schedule.models import WeekPlan
from shared import clock
from tests.conftest import caller, make_user


@pytest.fixture
def late_week(take, shop_site, now, frozen):
    """A pour due today, which no cure allows, and one that is in time."""
    frozen.move_to(now)
    take("T-1", due_in_days=0)
    take("T-2", due_in_days=4)
    wish = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    return actions.solve(plan_id=wish.pk, now=now)


def test_each_late_pour_has_its_reason_by_name(late_week, now):
    assert late_week.plan["late"] == []
    assert reasons.wanted(late_week)
    assert reasons.look(plan_id=late_week.pk, now=now) == 1
    plan = WeekPlan.objects.get()
    (told,) = plan.plan["late"]
    assert told["words"].startswith("T-1 A (Tool T-1) is done on ")
    assert told["rule"]
    assert plan.progress["reasons"] == "done"
    assert plan.version > late_week.version


def test_a_second_worker_finds_nothing_to_do_and_a_lost_one_is_replaced(late_week, now):
    reasons._claim(late_week.pk, now)
    assert reasons.look(plan_id=late_week.pk, now=now + timedelta(minutes=1)) == 0
    assert reasons.look(plan_id=late_week.pk, now=now + timedelta(minutes=4)) == 1
    assert reasons.look(plan_id=late_week.pk, now=now + timedelta(minutes=9)) == 0


def test_the_sweep_sends_out_plans_whose_message_was_lost(late_week, now):
    soon = now + timedelta(seconds=5)
    assert queries.unexplained_plans(soon) == []
    assert queries.unexplained_plans(now + timedelta(minutes=1)) == [late_week.pk]
    tasks.look_for_reasons(late_week.pk)
    assert queries.unexplained_plans(now + timedelta(minutes=1)) == []


def test_the_page_waits_for_reasons_and_then_shows_them(late_week, shop_site, client, now):
    client.force_login(
        make_user("technician", shop_site),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    page = client.get("/week/2026-W49/").content.decode()
    path = f"/plans/{late_week.pk}/reasons/"
    assert f'hx-get="{path}"' in page
    assert "The worker is looking" in page
    reasons.look(plan_id=late_week.pk, now=clock.now())
    part = client.get(path).content.decode()
    assert "hx-get" not in part
    assert "T-1 A (Tool T-1) is done on" in part
    assert "T-2" not in part


def test_the_reasons_are_in_the_answer_over_rest(late_week, shop_site, now):
    reasons.look(plan_id=late_week.pk, now=now)
    client = caller(make_user("planner", shop_site), [shop_site])
    found = client.get(f"/api/v1/plans/{late_week.pk}").json()
    assert found["progress"]["reasons"] == "done"
    (told,) = found["late"]
    assert told["rule"]
    assert told["words"]


def test_a_confirmed_plan_stays_confirmed_while_reasons_come_in(late_week, now):
    actions.confirm(plan=late_week, now=now)
    assert reasons.look(plan_id=late_week.pk, now=now) == 1
    plan = WeekPlan.objects.get()
    assert plan.state == "confirmed"
    assert len(plan.plan["late"]) == 1
