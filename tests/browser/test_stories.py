"""Stories of a pot that goes otherwise, told by touch on a phone and on a tablet."""

from decimal import Decimal

import pytest

from planning.batches.models import Weighing
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("width", [390, 820]),
]


@pytest.fixture
def page(planned_batch, open_page, sign_in, clock, width):
    """The batch's page, all before it signed, ready to weigh."""
    page = open_page(width)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    sign_off(planned_batch)
    page.goto(f"/batches/{planned_batch.pk}/")
    page.locator("#ready").tap()
    steps.wait_for_step(page, "Weigh resin")
    return page


def mix(page, batch, clock):
    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    clock.move_to(batch.planned_contact)
    page.locator("#contact").tap()
    steps.wait_for_step(page, "Second container")
    page.locator("#second").tap()
    steps.wait_for_step(page, "Pour into")


def test_a_can_runs_empty_and_the_pot_pours_what_it_holds(planned_batch, page, clock):
    resin, hardener = planned_batch.lines.order_by("order")
    steps.scan(page, resin.container.code)
    some = (resin.target_kg * Decimal("0.6")).quantize(Decimal("0.001"))
    steps.type_weight(page, some)
    page.locator("#can-empty").tap()
    page.locator("#scan-judge", has_text="is empty").wait_for()
    page.locator("#no-more").tap()
    steps.wait_for_step(page, "Weigh hardener")
    aim = Decimal(page.locator(".target__figure").inner_text())
    assert aim < hardener.target_kg
    steps.weigh_line(page, hardener, aim)
    mix(page, planned_batch, clock)
    offered = Decimal(page.locator(".target__figure").inner_text())
    assert offered < some + aim
    page.locator("#poured").tap()
    page.locator("#new-plan-words", has_text="missing").wait_for()
    steps.wait_until_sent(page)
    portion = planned_batch.portions.get()
    assert portion.poured_kg <= sum(w.kg for w in Weighing.objects.all())
    assert portion.lost_kg > 0


def test_too_much_resin_tells_what_to_add_before_anything_is_mixed(planned_batch, page, clock):
    resin, hardener = planned_batch.lines.order_by("order")
    steps.weigh_line(page, resin)
    much = (hardener.target_kg * Decimal("1.1")).quantize(Decimal("0.001"))
    steps.weigh_line(page, hardener, much)
    steps.wait_for_step(page, "Put the ratio right")
    said = page.locator("#step").inner_text()
    assert "too much hardener" in said
    assert "Do not mix yet" in said
    assert steps.no_sideways_scroll(page)
    steps.type_weight(page, page.locator(".target__figure").inner_text())
    page.locator("#take").tap()
    mix(page, planned_batch, clock)
    assert Weighing.objects.count() == 3
