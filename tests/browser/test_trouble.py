"""When things go otherwise: another can, a scrapped pot, a refusal of the shop's computer."""

from decimal import Decimal

import pytest

from planning.batches.models import Weighing
from shop.models import Container
from tests.browser import steps

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def at_the_pot(planned_batch, open_page, sign_in, clock):
    """A phone at the batch's page, ready to weigh."""
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    page.goto(f"/batches/{planned_batch.pk}/")
    page.locator("#ready").tap()
    steps.wait_for_step(page, "Weigh resin")
    return page


def test_another_can_of_the_material_is_taken_with_a_reason(planned_batch, at_the_pot):
    page, resin = at_the_pot, planned_batch.lines.get(role="resin")
    other = (
        Container.objects.filter(lot__material=resin.container.lot.material)
        .exclude(pk=resin.container_id)
        .first()
    )
    steps.scan(page, other.code)
    page.locator("#use-other").tap()
    assert (
        "The reason is empty; write at least 3 letters."
        in page.locator("#scan-judge").inner_text()
    )
    page.locator("#reason").fill("the other can leaks")
    page.locator("#use-other").tap()
    steps.type_weight(page, resin.target_kg.normalize())
    page.locator("#take").tap()
    steps.wait_until_sent(page)
    weighing = Weighing.objects.get()
    assert (weighing.container, weighing.reason) == (other, "the other can leaks")


def test_a_weight_that_is_none_is_not_taken(at_the_pot, planned_batch):
    page = at_the_pot
    steps.scan(page, planned_batch.lines.get(role="resin").container.code)
    page.locator("#take").tap()
    assert "must be a number above 0 kg" in page.locator("#judge").inner_text()
    page.locator("#reading").fill("1.2.3")
    assert "Not a weight" in page.locator("#judge").inner_text()
    assert not Weighing.objects.exists()


def test_more_than_the_can_holds_is_refused_and_the_step_opens_again(
    planned_batch, at_the_pot, troubles
):
    page, resin = at_the_pot, planned_batch.lines.get(role="resin")
    steps.weigh_line(page, resin, Decimal(400))
    assert "Is the point in the right place?" in page.locator("#judge").inner_text()
    assert not Weighing.objects.exists()
    page.locator("#take").tap()
    said = page.locator("#network")
    said.get_by_text("was refused").wait_for()
    assert resin.container.code in said.inner_text()
    assert "have the can counted on the Stock page" in said.inner_text()
    steps.shot(page, "refused-390")
    page.get_by_role("button", name="Understood, take the entry back").tap()
    steps.wait_for_step(page, "Weigh resin")
    assert not Weighing.objects.exists()
    assert all("409" in trouble for trouble in troubles)
    troubles.clear()
    steps.weigh_line(page, resin)
    steps.wait_until_sent(page)
    assert Weighing.objects.get().weighed_kg == resin.target_kg


def test_a_pot_is_scrapped_with_its_reason(planned_batch, at_the_pot):
    page, resin = at_the_pot, planned_batch.lines.get(role="resin")
    steps.weigh_line(page, resin)
    steps.wait_until_sent(page)
    page.get_by_text("What leaked or lacks").tap()
    page.locator("#trouble-scrapped").tap()
    page.locator("#words-take").tap()
    assert "Why is the pot scrapped: empty" in page.locator("#loss-judge").inner_text()
    page.locator("#trouble-words").fill("fell off the bench")
    page.locator("#words-take").tap()
    page.get_by_text("This pot is scrapped").wait_for()
    steps.wait_until_sent(page)
    planned_batch.refresh_from_db()
    assert planned_batch.status == "scrapped"
    assert planned_batch.entries.get().words == "fell off the bench"
    page.locator("#new-plan-words", has_text="pot scrapped: fell off the bench").wait_for()
    steps.shot(page, "scrapped-390")
    steps.tap(page, "Ask for a new plan because of this")
    page.get_by_text("pot scrapped: fell off the bench").wait_for()
    page.get_by_text("Because:").wait_for()
    assert page.url.endswith("/compare/")
    assert steps.no_sideways_scroll(page)


def test_a_short_pour_is_said_in_figures_and_the_plan_hears_of_it(
    planned_batch, open_page, sign_in, clock
):
    page, portion = open_page(390), planned_batch.portions.get()
    sign_in(page, "tess")
    steps.play_batch(page, planned_batch, clock)
    page.get_by_text("What leaked or lacks").tap()
    page.locator("#trouble-short").tap()
    page.locator("#loss-take").tap()
    assert "is empty; give kg with digits" in page.locator("#loss-judge").inner_text()
    page.locator("#loss-kg").fill("0.2")
    page.locator("#loss-words").fill("ran out at the rim")
    steps.shot(page, "short-390")
    page.locator("#loss-take").tap()
    page.locator("#new-plan-words", has_text="0.2 kg missing: ran out at the rim").wait_for()
    portion.refresh_from_db()
    assert portion.lost_kg == Decimal("0.2")
    assert portion.lift.pour.status == "pouring"
