"""Stories of trouble, told by touch on a phone and on a tablet: what is cast stays safe."""

import re
from decimal import Decimal

import pytest

from planning.batches.models import Batch, BatchEntry
from planning.clocks.models import Cure
from planning.weigh_in.models import CastingQuarantine
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("width", [390, 820]),
]


@pytest.fixture
def page(planned_batch, open_page, sign_in, clock, width):
    """The batch's page on a phone or a tablet, ready to weigh."""
    page = open_page(width)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    sign_off(planned_batch)
    steps.open_to_weigh(page, planned_batch)
    return page


def ask_for_the_new_plan(page):
    steps.tap(page, "Ask for a new plan because of this")
    page.wait_for_url("**/compare/")
    page.get_by_text("Because:").wait_for()
    assert steps.no_sideways_scroll(page)
    return page.locator("main").inner_text()


def test_a_hot_pot_is_told_scrapped_and_planned_anew(
    planned_batch, page, clock, open_page, sign_in, width
):
    other = open_page(width)
    sign_in(other, "timo")
    other.goto("/today/")
    steps.weigh_all(page, planned_batch)
    steps.mix(page, planned_batch, clock)
    page.get_by_role("button", name="Hot pot", exact=True).tap()
    page.locator("#alarm", has_text="The others are told.").wait_for()
    assert "Do not stir it" in page.locator("#alarm").inner_text()
    other.locator("#alarms", has_text=f"Hot pot: batch {planned_batch.number}").wait_for(
        timeout=6000
    )
    page.locator("#alarm-hot_pot-scrapped").tap()
    assert page.locator("#trouble-words").input_value() == "hot pot"
    page.locator("#words-take").tap()
    page.get_by_text("This pot is scrapped").wait_for()
    steps.wait_until_sent(page)
    assert page.locator("#poured").count() == 0
    used = steps.used_of(planned_batch)
    assert used == {line.role: line.target_kg for line in planned_batch.lines.all()}
    told = page.request.get(f"/api/v1/batches/{planned_batch.pk}").json()
    assert (told["status"], told["portions"]) == ("scrapped", [])
    assert not Cure.objects.exists()
    assert "pot scrapped: hot pot" in ask_for_the_new_plan(page)


def test_a_leak_is_told_and_what_ran_out_is_planned_anew(planned_batch, page, clock):
    steps.weigh_all(page, planned_batch)
    steps.mix(page, planned_batch, clock)
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    page.get_by_role("button", name="Leak seen", exact=True).tap()
    page.locator("#alarm", has_text="Press clay or wax on the gap").wait_for()
    page.locator("#alarm-leak_seen-leak").tap()
    page.locator("#loss-kg").fill("0.15")
    page.locator("#loss-words").fill("barrier at the runner")
    assert steps.no_sideways_scroll(page)
    page.locator("#loss-take").tap()
    page.locator("#new-plan-words", has_text="0.15 kg missing: barrier at the runner").wait_for()
    steps.wait_until_sent(page)
    portion = planned_batch.portions.get()
    assert portion.lost_kg == Decimal("0.15")
    assert portion.lift.pour.status == "pouring"
    kinds = set(BatchEntry.objects.values_list("kind", flat=True))
    assert {"leak_seen", "leak", "poured"} <= kinds
    assert "barrier at the runner" in ask_for_the_new_plan(page)


def test_a_ratio_found_wrong_after_the_pour_quarantines_the_casting(
    planned_batch, page, clock, open_page, sign_in, width
):
    steps.weigh_all(page, planned_batch)
    steps.mix(page, planned_batch, clock)
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    steps.wait_until_sent(page)
    hardener = planned_batch.lines.get(role="hardener")
    really = (hardener.target_kg * Decimal("0.8")).quantize(Decimal("0.001"))
    page.get_by_role("button", name="Put right Hardener").tap()
    page.locator("#amend-kg").fill(str(really))
    page.locator("#amend-reason").fill("the cup stood on the scale")
    assert steps.no_sideways_scroll(page)
    page.locator("#amend-take").tap()
    page.locator("#new-plan-words", has_text="the cup stood on the scale").wait_for()
    steps.wait_until_sent(page)
    row = CastingQuarantine.objects.get()
    told = re.match(r"The pot had (\d+\.\d) % too little hardener", row.words)
    assert told
    assert abs(float(told[1]) - 20) < 0.3
    assert steps.used_of(planned_batch)["hardener"] == really
    portion = planned_batch.portions.get()
    assert portion.poured_kg <= sum(steps.used_of(planned_batch).values())
    (listed,) = page.request.get("/api/v1/casting-quarantines").json()["items"]
    assert (listed["pour"], listed["released_at"]) == (str(row.pour_id), None)
    page.goto(f"/pours/{row.pour_id}/")
    kept = page.get_by_role("region", name="Quarantine")
    assert "do not use this casting" in kept.inner_text()
    assert steps.no_sideways_scroll(page)
    quality = open_page(width)
    sign_in(quality, "quinn")
    quality.goto(f"/trace/?lot={hardener.container.lot_id}")
    quality.locator("main", has_text=told[0]).wait_for()
    traced = quality.request.get(f"/api/v1/trace?lot={hardener.container.lot_id}").json()
    assert traced["taken"][-1]["castings"][0]["quarantine"] == [row.words]
    page.goto(f"/batches/{planned_batch.pk}/")
    assert "the cup stood on the scale" in ask_for_the_new_plan(page)


def test_a_lot_that_is_held_stops_the_pot_at_each_step_within_seconds(
    planned_batch, page, open_page, sign_in, clock, width, troubles
):
    resin = planned_batch.lines.get(role="resin")
    quality = open_page(width)
    sign_in(quality, "quinn")
    steps.weigh_all(page, planned_batch)
    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    clock.move_to(planned_batch.planned_contact)
    page.wait_for_timeout(4500)  # the page has asked once how things stand
    quality.goto(f"/stock/lots/{resin.container.lot_id}/")
    quality.get_by_text("Hold the lot").tap()
    quality.get_by_label("Why", exact=True).fill("gels too early")
    quality.get_by_role("button", name="Hold", exact=True).tap()
    quality.get_by_text("held").first.wait_for()
    page.locator(".gate", has_text="it is held").wait_for(timeout=5000)
    assert page.locator("#contact").is_disabled()
    assert page.locator("#gate-reason").count() == 0
    assert steps.no_sideways_scroll(page)
    steps.shot(page, f"story-held-{width}")
    refused = page.request.post(
        f"/api/v1/batches/{planned_batch.pk}/entries",
        data={"kind": "contact", "gate_reason": "it will do", "decided_by": "Tess"},
        headers={"X-CSRFToken": csrf(page), "Idempotency-Key": f"held-lot-{width}-of-the-story"},
    )
    assert refused.status == 409
    assert "it is held" in refused.text()
    troubles[:] = [one for one in troubles if "409" not in one]
    assert Batch.objects.get().status == "weighed"
    assert not BatchEntry.objects.filter(kind="contact").exists()
    page.goto("/today/?who=all")
    assert f"Do not take {resin.container.code}" in page.locator("main").inner_text()


def csrf(page):
    return page.locator("#batch").get_attribute("data-csrf")
