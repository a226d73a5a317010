"""The week slips after the sheet is printed: a planner plans again, looks, and confirms."""

from datetime import timedelta

import pytest

from planning.batches.models import Batch
from planning.schedule import actions
from planning.schedule.models import WeekPlan
from tests.browser import steps
from tests.browser.conftest import EARLY
from tests.callers import caller, make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TODAY = EARLY.date()


def take(shop, number, depth_mm, due_in_days):
    from planning.pours.actions import take_order
    from planning.routes.models import Route
    from shop import stores

    pour = {
        "half": "A",
        "system_id": stores.system_by_code("Q").id,
        "length_mm": "300",
        "width_mm": "200",
        "depth_mm": depth_mm,
        "tool_side": "board",
        "release_recipe_id": stores.recipe_by_code("WAX5").id,
    }
    take_order(
        site_id=shop.pk,
        number=f"TO-{number}",
        tool_code=f"GRIP-{number}",
        tool_name=f"Grip {number}",
        route=Route.objects.get(code="single"),
        due_on=TODAY + timedelta(days=due_in_days),
        pours=[pour],
        now=EARLY,
    )


@pytest.fixture
def planned_week(shop):
    """Three tools: what is poured first goes on paper, the rest may still move."""
    for number, (depth_mm, due_in_days) in enumerate([("30", 3), ("60", 4), ("60", 5)], start=1):
        take(shop, number, depth_mm, due_in_days)
    wish = actions.request_plan(site=shop, week="2026-W49", now=EARLY, seconds=0.5)
    actions.confirm(plan=actions.solve(plan_id=wish.pk, now=EARLY), now=EARLY)
    return shop


def standing(**which):
    rows = Batch.objects.filter(**which).order_by("pk")
    return [(b.pk, b.number, b.planned_start, b.mixer_id, b.mixed_kg) for b in rows]


def lose_everybody_of(day, shop):
    """Nobody who mixes on a day comes in; written down over REST, as from a time clock."""
    keeper = caller(make_user("administrator", shop), [shop])
    people = {p.pk for b in Batch.objects.filter(planned_start__date=day) for p in b.people.all()}
    people |= {int(p["id"]) for p in keeper.get("/api/v1/people").json()["items"]}
    for person in sorted(people):
        body = {"person": str(person), "day": day.isoformat(), "reason": "ill"}
        assert keeper.post("/api/v1/day-changes", body).status_code == 201


def test_printed_batches_stay_and_the_rest_is_planned_again(planned_week, open_page, sign_in):
    page = open_page(1280)
    sign_in(page, "petra")
    first = Batch.objects.earliest("planned_start").planned_start.date()
    page.goto(f"/sheets/{first}/")
    with page.expect_popup() as paper:
        page.get_by_role("button", name="Print and lock these batches").click()
    paper.value.wait_for_url("**.pdf")
    printed = standing(printed_at__isnull=False)
    open_still = Batch.objects.filter(printed_at=None).order_by("planned_start")
    assert printed
    assert open_still
    lost = open_still[0].planned_start.date()
    assert lost > first
    lose_everybody_of(lost, planned_week)

    page.goto("/week/2026-W49/")
    page.fill("#seconds", "0.5")
    page.get_by_role("button", name="Ask for a new plan").click()
    page.get_by_role("link", name="Beside the plan before").click()
    moves = page.get_by_role("region", name="What moves")
    assert "Grip" in moves.inner_text()
    reasons = moves.locator("tbody tr td:last-child").all_inner_texts()
    assert reasons
    assert all(len(reason) > 15 and reason.endswith(".") for reason in reasons)
    steps.shot(page, "plan-again-compare")

    page.get_by_role("button", name="Confirm the new plan").click()
    page.get_by_text("is confirmed: batches are numbered").wait_for()
    assert WeekPlan.objects.get(state="confirmed").revision == 2
    assert standing(pk__in=[row[0] for row in printed]) == printed
    assert not Batch.objects.filter(planned_start__date=lost).exists()
    assert set(Batch.objects.values_list("portions__lift__pour__order__number", flat=True)) == {
        "TO-1",
        "TO-2",
        "TO-3",
    }
