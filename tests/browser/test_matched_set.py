"""A matched set by touch alone: half A, half B cast against it, the halves parted."""

from datetime import timedelta

import pytest
from django.utils import timezone

from planning.batches.models import Batch
from planning.clocks.models import Cure
from planning.cures.models import Demould
from planning.pours.models import Pour
from planning.pours.steps import sign_step
from tests.browser import steps
from tests.browser.conftest import EARLY
from tests.factories.clocks import ready, watch_air

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MEASURED = {"Draft of the plunging faces": "4", "Cover over the highest point": "12"}


@pytest.fixture
def halves(shop):
    """A matched set, ordered and planned: half A this week, half B against it."""
    from planning.pours.actions import take_order
    from planning.routes.models import Route
    from planning.schedule import actions
    from shop import stores

    box = {
        "system_id": stores.system_by_code("Q").id,
        "length_mm": "200",
        "width_mm": "100",
        "depth_mm": "30",
        "release_recipe_id": stores.recipe_by_code("WAX5").id,
    }
    take_order(
        site_id=shop.pk,
        number="TO-2",
        tool_code="BONNET-1",
        tool_name="Bonnet",
        route=Route.objects.get(code="matched"),
        due_on=(EARLY + timedelta(days=10)).date(),
        pours=[{**box, "half": "A", "tool_side": "board"}, {**box, "half": "B"}],
        now=EARLY,
    )
    wish = actions.request_plan(site=shop, week="2026-W49", now=EARLY, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=EARLY)
    assert (plan.violations, plan.plan["unplaced"]) == ([], [])
    actions.confirm(plan=plan, now=EARLY)
    return Pour.objects.get(half="A"), Pour.objects.get(half="B")


def prepare(page, pour, clock, by_touch):
    """Sign what comes before the pour; coats one by one at the bench would only take longer."""
    for step in pour.steps.filter(phase="before").order_by("order"):
        now = max(step.planned_end, timezone.now())  # what comes before may have taken longer
        clock.move_to(now)
        if step.coat_number is not None or not step.checks:
            sign_step(step=step, at=now, now=now)
            continue
        page.goto(f"/pours/{pour.pk}/#step-{step.pk}")
        steps.sign_by_touch(page, step, MEASURED, took_min=by_touch)


def take_off(page, pour, clock, word):
    clock.move_to(ready(pour) + timedelta(minutes=10))
    page.goto(f"/pours/{pour.pk}/?now#demould")
    page.locator("#demould").get_by_label("Accept").tap()
    page.locator("#demould").get_by_label("Hardness, Shore D").fill("82")
    steps.shot(page, f"set-{word}-demould-{page.viewport_size['width']}")
    steps.tap(page, "Record the demoulding")
    page.get_by_text("is off: accept").wait_for()


@pytest.mark.parametrize("width", [390, 820])
def test_a_matched_set_from_half_a_to_the_parted_halves(halves, open_page, sign_in, clock, width):
    a, b = halves
    page = open_page(width)
    sign_in(page, "tess")

    prepare(page, a, clock, by_touch=50)
    assert steps.no_sideways_scroll(page)
    steps.shot(page, f"set-1-half-a-prepared-{width}")
    steps.play_batch(page, Batch.objects.get(portions__lift__pour=a), clock)
    # Air that nobody read counts as cold.
    watch_air(a.order.site, Cure.objects.get(lift__pour=a).poured_at, 18)
    page.goto(f"/pours/{b.pk}/")
    page.get_by_role("link", name=str(a)).first.tap()
    page.get_by_text("Leave it alone until").wait_for()
    take_off(page, a, clock, "2-half-a")
    nibs = a.steps.get(name__startswith="Flatten nibs")
    steps.sign_by_touch(page, nibs, MEASURED)
    steps.shot(page, f"set-3-half-a-done-{width}")

    prepare(page, b, clock, by_touch=45)
    page.goto(f"/today/?day={b.lifts.get().planned_start:%Y-%m-%d}&who=all")
    assert steps.no_sideways_scroll(page)
    steps.shot(page, f"set-4-today-half-b-{width}")
    steps.play_batch(page, Batch.objects.get(portions__lift__pour=b), clock)
    take_off(page, b, clock, "5-parting")
    steps.shot(page, f"set-6-parted-{width}")

    assert Demould.objects.filter(verdict="accept").count() == 2
    assert set(Pour.objects.values_list("status", flat=True)) == {"demoulded"}
    assert b.stands_on == a
    assert Cure.objects.get(lift__pour=a).done_at < Cure.objects.get(lift__pour=b).poured_at
    parting = b.steps.filter(phase="after").order_by("order").first()
    assert parting.name.startswith("Part the halves")
    assert parting.done_at is not None
    tool = a.order.tool
    tool.refresh_from_db()
    assert tool.status == "in_service"
    draft = a.steps.get(name__startswith="Build and trim")
    assert (draft.results[0]["value"], draft.results[0]["within"], draft.took_min) == (
        "4",
        True,
        50,
    )
