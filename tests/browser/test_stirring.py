"""Stirring a settled can on the batch page, by touch on a phone."""

import pytest

from planning.batches.models import BatchEntry, Weighing
from shop.lots.models import Container
from shop.materials.models import Material
from tests.browser import steps

pytestmark = pytest.mark.browser


@pytest.fixture
def page(planned_batch, open_page, sign_in):
    Material.objects.filter(code="RES-Q").update(stir_before_use=True)
    found = open_page(390)
    sign_in(found, "tess")
    found.goto(f"/batches/{planned_batch.pk}/")
    return found


def signed():
    rows = BatchEntry.objects.filter(kind="stirred").order_by("pk")
    return [row.container.code for row in rows]


def test_the_tap_that_makes_ready_signs_the_cans_that_it_names(page, planned_batch):
    line = planned_batch.lines.get(role="resin")
    assert f"Stir can {line.container.code}" in page.locator("#step").inner_text()
    assert page.locator("#ready").inner_text() == "Stirred: ready to weigh"
    page.locator("#ready").tap()
    steps.wait_for_step(page, f"Weigh resin: can {line.container.code}")
    steps.wait_until_sent(page)
    assert signed() == [line.container.code]
    steps.scan(page, line.container.code)
    steps.type_weight(page, line.target_kg)
    page.locator("#take").tap()
    steps.wait_for_step(page, "Weigh hardener")
    steps.wait_until_sent(page)
    assert Weighing.objects.get().weighed_kg == line.target_kg


def test_another_can_is_stirred_and_signed_before_it_is_weighed(page, planned_batch):
    line = planned_batch.lines.get(role="resin")
    other = Container.objects.filter(lot=line.container.lot).exclude(pk=line.container_id)[0]
    page.locator("#ready").tap()
    steps.wait_for_step(page, "Weigh resin")
    steps.scan(page, other.code)
    page.locator("#reason").fill("stands nearer")
    page.locator("#use-other").tap()
    page.locator("#stirred", has_text=other.code).tap()
    steps.type_weight(page, line.target_kg)
    page.locator("#take").tap()
    steps.wait_for_step(page, "Weigh hardener")
    steps.wait_until_sent(page)
    assert signed() == [line.container.code, other.code]
    assert not BatchEntry.objects.filter(kind="unstirred").exists()
