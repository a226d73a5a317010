"""Stories of a colleague who falls ill, before the pot and at it, told by touch."""

import pytest

from planning.batches.models import Batch, BatchEntry, Weighing
from planning.schedule.models import WeekPlan
from planning.weigh_in.models import CastingQuarantine
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("width", [390, 820]),
]
MIXERS = {"Tess", "Timo", "Petra"}


def test_a_colleague_reported_ill_gets_no_batch_and_the_new_plan_names_who_has_it(
    planned_batch, open_page, sign_in, clock, width
):
    ill = planned_batch.people.get()
    well = sorted(MIXERS - {ill.name})[-1]
    page = open_page(width)
    sign_in(page, well.lower())
    page.goto("/today/")
    steps.tap(page, "Report a change")
    steps.tap(page, "Somebody is away")
    page.get_by_label("Who", exact=True).select_option(label=ill.name)
    page.get_by_label("Why").fill("ill")
    assert steps.no_sideways_scroll(page)
    steps.tap(page, "Enter and check the plan")
    said = page.get_by_role("region", name="What this breaks")
    assert planned_batch.number in said.inner_text()
    assert steps.no_sideways_scroll(page)
    steps.shot(page, f"story-ill-{width}")
    if said.get_by_role("button", name="Mend the plan").count() == 0:
        assert "Tell a planner" in said.inner_text()
        page = open_page(width)
        sign_in(page, "petra")
        page.goto("/changes/")
    steps.tap(page, "Mend the plan")
    page.wait_for_url("**/compare/")
    page.get_by_role("button", name="Confirm the new plan").wait_for(timeout=60_000)
    assert f"{ill.name} is away" in page.locator("main").inner_text() or "no longer holds" in (
        page.locator("main").inner_text()
    )
    assert steps.no_sideways_scroll(page)
    steps.tap(page, "Confirm the new plan")
    page.get_by_text("is confirmed: batches are numbered").wait_for()
    assert WeekPlan.objects.get(state="confirmed").revision == 2
    batch = Batch.objects.exclude(status="cancelled").get()
    (has_it,) = batch.people.all()
    assert has_it.name in MIXERS - {ill.name}
    clock.move_to(batch.planned_start)
    sign_off(batch)
    page = open_page(width)
    sign_in(page, has_it.name.lower())
    page.goto("/today/")
    assert batch.number in page.locator(".nowcard").inner_text()
    page.locator("#now-go").tap()
    page.wait_for_url(f"**/batches/{batch.pk}/")
    assert has_it.name in page.get_by_role("region", name="Batch facts").inner_text()
    away = open_page(width)
    sign_in(away, ill.name.lower())
    away.goto("/today/")
    assert batch.number not in away.locator(".nowcard").inner_text()


def test_a_pot_that_was_begun_is_handed_over_and_goes_on_where_it_was(
    planned_batch, open_page, sign_in, clock, width
):
    first = planned_batch.people.get().name
    second = sorted({"Tess", "Timo"} - {first})[0]
    resin, hardener = planned_batch.lines.order_by("order")
    page = open_page(width)
    sign_in(page, first.lower())
    clock.move_to(planned_batch.planned_start)
    sign_off(planned_batch)
    steps.open_to_weigh(page, planned_batch)
    steps.weigh_line(page, resin)
    steps.wait_until_sent(page)
    page.context.close()

    page = open_page(width)
    sign_in(page, second.lower())
    page.goto("/today/?who=all")
    page.locator("#now-go").tap()
    page.wait_for_url(f"**/batches/{planned_batch.pk}/")
    steps.wait_for_step(page, "Weigh hardener")
    page.locator("#log", has_text=first).wait_for()
    steps.weigh_line(page, hardener)
    steps.mix(page, planned_batch, clock)
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    steps.wait_until_sent(page)
    steps.shot(page, f"story-handed-over-{width}")
    assert [w.by.username for w in Weighing.objects.order_by("pk")] == [
        first.lower(),
        second.lower(),
    ]
    assert set(BatchEntry.objects.values_list("by__username", flat=True)) == {second.lower()}
    planned = {line.role: line.target_kg for line in planned_batch.lines.all()}
    assert steps.used_of(planned_batch) == planned
    assert not CastingQuarantine.objects.exists()
