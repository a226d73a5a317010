"""Stories of a pot, told by touch on a phone and on a tablet: as planned, and otherwise."""

import re
from decimal import Decimal

import pytest

from planning.batches.models import BatchEntry, Weighing
from planning.clocks.models import Cure
from shop.models import Container
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("width", [390, 820]),
]


@pytest.fixture
def page(planned_batch, open_page, sign_in, clock, width):
    """Today on a phone or a tablet when the batch is due, all before it signed."""
    page = open_page(width)
    sign_in(page, planned_batch.people.get().name.lower())
    clock.move_to(planned_batch.planned_start)
    sign_off(planned_batch)
    return page


def test_a_batch_as_planned_from_the_card_on_today_to_the_running_cure(planned_batch, page, clock):
    page.goto("/today/")
    page.get_by_role("region", name="What to do now").get_by_role("link").tap()
    page.wait_for_url(f"**/batches/{planned_batch.pk}/")
    page.locator("#ready").tap()
    steps.weigh_all(page, planned_batch)
    steps.mix(page, planned_batch, clock)
    aim = steps.figure(page)
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    steps.wait_until_sent(page)
    assert steps.no_sideways_scroll(page)
    told = page.request.get(f"/api/v1/batches/{planned_batch.pk}").json()
    assert told["status"] == "poured"
    assert round(Decimal(told["portions"][0]["poured_kg"]), 3) == aim
    planned = {line.role: line.target_kg for line in planned_batch.lines.all()}
    assert steps.used_of(planned_batch) == planned
    assert Cure.objects.get().lift == planned_batch.portions.get().lift
    page.get_by_role("link", name="Back to Today").tap()
    page.wait_for_url("**/today/")
    assert str(planned_batch.portions.get().lift.pour) in page.locator("#handover").inner_text()
    assert planned_batch.number not in page.locator(".nowcard").inner_text()


def test_a_can_that_runs_empty_is_followed_by_the_next_and_the_pot_is_whole(
    planned_batch, page, clock
):
    resin, hardener = planned_batch.lines.order_by("order")
    following = Container.objects.filter(lot__material=resin.container.lot.material).exclude(
        pk=resin.container_id
    )[0]
    steps.open_to_weigh(page, planned_batch)
    steps.scan(page, resin.container.code)
    some = (resin.target_kg * Decimal("0.6")).quantize(Decimal("0.001"))
    steps.type_weight(page, some)
    page.locator("#can-empty").tap()
    page.locator("#scan-judge", has_text="is empty").wait_for()
    steps.scan(page, resin.container.code)
    assert "is the can that ran empty" in page.locator("#scan-judge").inner_text()
    steps.scan(page, following.code)
    rest = steps.figure(page)
    assert some + rest == resin.target_kg
    steps.type_weight(page, rest)
    page.locator("#take").tap()
    steps.weigh_line(page, hardener)
    steps.mix(page, planned_batch, clock)
    assert "short" not in page.locator("#step").inner_text()
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    steps.wait_until_sent(page)
    taken = {row.container.code: row.kg for row in Weighing.objects.filter(line=resin)}
    assert taken == {resin.container.code: some, following.code: rest}
    assert steps.used_of(planned_batch)["resin"] == resin.target_kg
    assert not page.locator("#new-plan").is_visible()


def test_a_can_runs_empty_and_the_pot_pours_what_it_holds(planned_batch, page, clock):
    resin, hardener = planned_batch.lines.order_by("order")
    steps.open_to_weigh(page, planned_batch)
    steps.scan(page, resin.container.code)
    some = (resin.target_kg * Decimal("0.6")).quantize(Decimal("0.001"))
    steps.type_weight(page, some)
    page.locator("#can-empty").tap()
    page.locator("#scan-judge", has_text="is empty").wait_for()
    page.locator("#no-more").tap()
    steps.wait_for_step(page, "Weigh hardener")
    aim = steps.figure(page)
    assert aim < hardener.target_kg
    steps.weigh_line(page, hardener, aim)
    steps.mix(page, planned_batch, clock)
    offered = steps.figure(page)
    assert offered < some + aim
    page.locator("#poured").tap()
    page.locator("#new-plan-words", has_text="missing").wait_for()
    steps.wait_until_sent(page)
    portion = planned_batch.portions.get()
    assert portion.poured_kg <= sum(w.kg for w in Weighing.objects.all())
    assert portion.lost_kg > 0


def test_too_much_resin_tells_what_to_add_before_anything_is_mixed(planned_batch, page, clock):
    resin, hardener = planned_batch.lines.order_by("order")
    steps.open_to_weigh(page, planned_batch)
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
    steps.mix(page, planned_batch, clock)
    assert Weighing.objects.count() == 3


def test_more_than_the_pot_holds_is_never_recorded_as_poured(planned_batch, page, clock, troubles):
    steps.open_to_weigh(page, planned_batch)
    steps.weigh_all(page, planned_batch)
    steps.mix(page, planned_batch, clock)
    offered = steps.figure(page)
    page.get_by_text("Another weight went in").tap()
    page.locator("#reading").fill(str(offered + Decimal("0.2")))
    most = re.search(r"gives ([\d.]+) kg at most", page.locator("#judge").inner_text())
    assert most
    page.locator("#take").tap()
    said = page.locator("#network")
    said.get_by_text("was refused").wait_for()
    assert "at most" in said.inner_text()
    steps.shot(page, f"story-over-pour-{page.viewport_size['width']}")
    assert steps.no_sideways_scroll(page)
    assert not BatchEntry.objects.filter(kind="poured").exists()
    assert not Cure.objects.exists()
    assert all("422" in one for one in troubles)
    troubles.clear()
    page.get_by_role("button", name="Understood, take the entry back").tap()
    steps.wait_for_step(page, "Pour into")
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    steps.wait_until_sent(page)
    poured = planned_batch.portions.get().poured_kg
    assert poured <= sum(steps.used_of(planned_batch).values())
    assert abs(poured - offered) < Decimal("0.001")
