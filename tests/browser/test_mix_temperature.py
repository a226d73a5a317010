"""The mix's temperature on the batch page: asked about in the wrong unit, kept in °C."""

import pytest

from planning.batches.models import BatchEntry
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_77_is_asked_about_until_the_unit_is_right(planned_batch, open_page, sign_in, clock):
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    sign_off(planned_batch)
    page.goto(f"/batches/{planned_batch.pk}/")
    page.locator("#ready").tap()
    for line in planned_batch.lines.order_by("order"):
        steps.weigh_line(page, line)
    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    page.locator("#mix_degrees").fill("77")
    page.locator("#mix_note").tap()
    assert "this is 77.0 °C. Look at the unit" in page.locator("#step").inner_text()
    assert page.locator("#mix_note").inner_text() == "Yes, really 77 °C"
    page.locator("#mix_unit").select_option("f")
    page.locator("#mix_note").tap()
    steps.wait_until_sent(page)
    entry = BatchEntry.objects.get(facts__has_key="mix_c")
    assert (entry.facts["mix_c"], entry.facts["mix_f"]) == ("25.0", "77.0")
    page.reload()
    steps.wait_for_step(page, "first contact")
    assert "mix 25 °C" in page.locator("#log").inner_text()
    steps.shot(page, "mix")
