"""A technician's day on a phone by touch alone, from the morning's sheet to the demoulded tool."""

from datetime import timedelta

import pytest

from planning.batches.models import BatchEntry, Weighing
from planning.clocks.models import Cure
from planning.cures.models import Demould
from planning.pours.models import PourStep
from tests.browser import steps
from tests.factories.clocks import ready
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_step_begun_on_the_phone_sends_its_minutes_with_the_one_tap_on_done(
    planned_batch, open_page, sign_in
):
    step = PourStep.objects.filter(checks=[]).exclude(phase="after").order_by("planned_start")[0]
    page = open_page(390)
    sign_in(page, "tess")
    page.goto("/today/?who=all")
    page.locator(f"[data-begins='{step.pk}']").tap()
    page.get_by_text("Begun 1 min ago").wait_for()
    page.evaluate(
        "(step) => localStorage.setItem(`shop.begun-${step}`, String(Date.now() - 17 * 60000))",
        step.pk,
    )
    page.reload()
    page.get_by_text("Begun 17 min ago").wait_for()
    assert steps.no_sideways_scroll(page)
    steps.shot(page, "begun-390")
    page.locator(f"form[action='/steps/{step.pk}/sign/'] button").tap()
    page.get_by_text("is signed.").wait_for()
    step.refresh_from_db()
    assert step.took_min == 17
    assert page.evaluate("(step) => localStorage.getItem(`shop.begun-${step}`)", step.pk) is None


def test_a_day_from_the_sheet_to_the_demoulded_casting(planned_batch, open_page, sign_in, clock):
    batch = planned_batch
    resin, hardener = batch.lines.order_by("order")
    page = open_page(390)
    sign_in(page, "tess")

    page.goto("/today/?who=all")
    assert steps.no_sideways_scroll(page)
    assert page.get_by_text("Fetch first").is_visible()
    steps.shot(page, "day-1-today")

    clock.move_to(batch.planned_start)
    page.goto("/today/?who=all")
    page.get_by_role("link", name=f"Batch {batch.number}").first.tap()
    steps.wait_for_step(page, "Make ready")
    assert steps.no_sideways_scroll(page)
    steps.shot(page, "day-2-batch")
    page.locator("#air_c").fill("22.5")
    page.locator("#surface_c").fill("21")
    page.locator("#humidity_percent").fill("45")
    page.locator("#ready").tap()

    steps.wait_for_step(page, "Weigh resin")
    steps.scan(page, hardener.container.code)
    assert "Stop" in page.locator("#scan-judge").inner_text()
    steps.shot(page, "day-3-wrong-can")
    steps.scan(page, resin.container.code)
    steps.type_weight(page, resin.target_kg.normalize())
    assert "Good" in page.locator("#judge").inner_text()
    steps.shot(page, "day-4-weigh")
    page.locator("#take").tap()
    steps.weigh_line(page, hardener)

    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    clock.move_to(batch.planned_contact)
    sign_off(batch)
    page.reload()
    page.locator("#contact").tap()
    steps.wait_for_step(page, "Second container")
    left = page.locator("#potclock-left").inner_text()
    assert 0 < int(left.split(":")[0]) <= batch.pot_life_min
    steps.shot(page, "day-5-second")
    steps.mix_for(page, batch, clock)
    page.locator("#second").tap()
    steps.wait_for_step(page, "Pour into")
    steps.mix_for(page, batch, clock)
    steps.shot(page, "day-6-pour")
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    steps.wait_until_sent(page)
    steps.shot(page, "day-7-finished")

    batch.refresh_from_db()
    assert batch.status == "poured"
    assert [w.weighed_kg for w in Weighing.objects.order_by("line__order")] == [
        resin.target_kg,
        hardener.target_kg,
    ]
    kinds = list(BatchEntry.objects.order_by("at", "id").values_list("kind", flat=True))
    assert kinds == ["conditions", "contact", "second_container", "poured"]
    cure = Cure.objects.get()

    page.goto("/today/?who=all")
    assert page.get_by_text("Leave it alone").is_visible()
    clock.move_to(ready(cure.lift.pour) + timedelta(minutes=10))
    page.goto(f"/pours/{cure.lift.pour_id}/#demould")
    page.locator("#demould").get_by_label("Accept").tap()
    page.locator("#demould").get_by_label("Hardness, Shore D").fill("82")
    steps.tap(page, "Record the demoulding")
    page.get_by_text("accept", exact=False).first.wait_for()
    steps.shot(page, "day-8-demoulded")
    assert steps.no_sideways_scroll(page)
    assert Demould.objects.get().verdict == "accept"
    assert PourStep.objects.filter(phase="after", done_at__isnull=False).count() == 1
