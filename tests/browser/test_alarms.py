"""Trouble is one tap: told first, shown to the others within seconds, asked about afterwards."""

import time

import pytest

from planning.batches.models import BatchEntry
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def at_the_pot(planned_batch, open_page, sign_in, clock):
    """Open the batch's page as somebody, on a phone or a tablet, ready to weigh."""

    def make(who="tess", width=390):
        page = open_page(width)
        sign_in(page, who)
        clock.move_to(planned_batch.planned_start)
        sign_off(planned_batch)
        page.goto(f"/batches/{planned_batch.pk}/")
        page.locator("#ready").tap()
        steps.wait_for_step(page, "Weigh resin")
        return page

    return make


def test_a_hot_pot_is_one_tap_and_reaches_every_open_page_while_others_type(
    planned_batch, at_the_pot, open_page, sign_in
):
    tess, timo = at_the_pot("tess"), at_the_pot("timo")
    steps.scan(timo, planned_batch.lines.get(role="resin").container.code)
    steps.type_weight(timo, "0.1")
    desk = open_page(1280)
    sign_in(desk, "petra")
    desk.goto("/today/")
    tess.get_by_role("button", name="Hot pot", exact=True).tap()
    began = time.monotonic()
    assert "Do not stir it" in tess.locator("#alarm").inner_text()
    steps.shot(tess, "hot-pot-390")
    steps.wait_until_sent(tess)
    timo.locator("#alarm", has_text="Do not stir it").wait_for(timeout=5000)
    desk.locator("#alarms", has_text=f"Hot pot: batch {planned_batch.number}").wait_for(
        timeout=5000
    )
    assert time.monotonic() - began < 6
    assert timo.locator("#reading").input_value() == "0.1"
    assert BatchEntry.objects.get().kind == "hot_pot"
    steps.shot(desk, "hot-pot-desk")
    desk.get_by_role("button", name="Seen").click()
    assert not desk.locator("#alarms").is_visible()

    tess.locator("#alarm-hot_pot-remark").tap()
    assert tess.locator("#trouble-words").input_value() == "Hot pot: "
    tess.locator("#trouble-words").fill("Hot pot: carried outside, it smokes no more")
    tess.locator("#trouble-pot").fill("84")
    tess.locator("#words-take").tap()
    tess.get_by_role("button", name="Hot pot", exact=True).tap()  # shown again, not told again
    tess.locator("#alarm-over").tap()
    steps.wait_until_sent(tess)
    assert [(e.kind, e.facts) for e in BatchEntry.objects.order_by("pk")] == [
        ("hot_pot", {}),
        ("remark", {"pot_c": "84.0"}),
        ("all_clear", {}),
    ]
    timo.locator("#alarm").wait_for(state="hidden", timeout=6000)


def test_trouble_is_told_while_another_entry_is_refused(planned_batch, at_the_pot, troubles):
    page = at_the_pot()
    steps.weigh_line(page, planned_batch.lines.get(role="resin"), "400")
    page.locator("#take").tap()
    page.locator("#network", has_text="was refused").wait_for()
    page.get_by_role("button", name="Spill or splash", exact=True).tap()
    page.locator("#alarm", has_text="The others are told.").wait_for()
    assert "rinse with water at once" in page.locator("#alarm").inner_text()
    assert BatchEntry.objects.get().kind == "spill"
    assert all("409" in trouble for trouble in troubles)
    troubles.clear()


def test_without_a_network_the_page_says_that_nobody_has_heard(at_the_pot, troubles):
    page = at_the_pot()
    troubles.cut_allowed = True
    page.context.set_offline(True)
    page.get_by_role("button", name="Hot pot", exact=True).tap()
    page.locator("#alarm", has_text="Call out to them").wait_for()
    page.context.set_offline(False)
    page.locator("#alarm", has_text="The others are told.").wait_for()
    assert BatchEntry.objects.get().kind == "hot_pot"


def test_a_leak_asks_afterwards_and_presumes_no_mould(planned_batch, at_the_pot):
    portion = planned_batch.portions.get()
    portion.pk, portion.order = None, portion.order + 1
    portion.save()
    page = at_the_pot()
    page.get_by_role("button", name="Leak seen", exact=True).tap()
    page.locator("#alarm-leak_seen-leak").tap()
    assert page.locator("#loss-portion").input_value() == ""
    page.locator("#loss-kg").fill("0.1")
    page.locator("#loss-take").tap()
    assert "choose the mould" in page.locator("#loss-judge").inner_text()
    page.locator("#loss-portion").select_option(str(portion.pk))
    steps.shot(page, "leak-390")
    assert steps.no_sideways_scroll(page)
    page.locator("#loss-kg").fill("0")
    page.locator("#loss-take").tap()
    steps.wait_until_sent(page)
    assert [(e.kind, e.portion) for e in BatchEntry.objects.order_by("pk")] == [
        ("leak_seen", None),
        ("leak", portion),
    ]


def test_an_alarm_put_aside_stays_aside_when_the_shops_computer_has_another_time(
    at_the_pot, troubles
):
    """A device's clock may be ahead by less than is put right; what is recorded then says now."""
    page = at_the_pot()
    page.evaluate(
        "const name = 'shop.clock-offset';"
        "localStorage.setItem(name, Number(localStorage.getItem(name) || 0) + 1900)"
    )
    troubles.cut_allowed = True
    page.context.set_offline(True)
    page.get_by_role("button", name="Leak seen", exact=True).tap()
    page.locator("#alarm-leak_seen-leak").tap()
    page.context.set_offline(False)
    steps.wait_until_sent(page)
    page.wait_for_timeout(5500)  # the page has read again what is recorded
    assert not page.locator("#alarm").is_visible()
    page.locator("#loss-take").tap()
    page.reload()
    steps.wait_for_step(page, "Weigh resin")
    assert not page.locator("#alarm").is_visible()
