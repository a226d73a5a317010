"""How long a container has been mixed, on a phone: by the shop's times, across a reload."""

import re
from datetime import timedelta

import pytest

from planning.batches.models import BatchEntry
from planning.weigh_in import actions
from tests.factories.floor import sign_off, weigh_all

pytestmark = pytest.mark.browser


@pytest.fixture
def page(planned_batch, open_page, sign_in, clock):
    """A phone at a pot whose first contact was a minute ago."""
    batch = planned_batch
    clock.move_to(batch.planned_start)
    sign_off(batch)
    weigh_all(batch)
    at = batch.planned_contact
    actions.record_entry(batch=batch, kind="contact", key="c", at=at, now=at)
    clock.move_to(at + timedelta(minutes=1))
    found = open_page(390)
    sign_in(found, "tess")
    found.goto(f"/batches/{batch.pk}/")
    return found


def seconds(page, so_far=r"1:\d\d of"):
    """Return the time shown, s, once the page has learned the shop's time."""
    page.locator(".mixtimer", has_text=re.compile(so_far)).wait_for()
    text = page.locator(".mixtimer").inner_text()
    minutes, rest = re.search(r"(\d+):(\d\d) of at least 2:00", text).groups()
    return 60 * int(minutes) + int(rest)


def test_it_counts_from_the_recorded_contact_and_goes_on_after_a_reload(page):
    assert 60 <= seconds(page) <= 90
    assert "Scrape sides and bottom" in page.locator(".mixtimer").inner_text()
    before = seconds(page)
    page.reload()
    assert before <= seconds(page) <= before + 20
    clock = page.locator("#potclock").bounding_box()
    timer = page.locator(".mixtimer").bounding_box()
    assert timer["y"] >= clock["y"] + clock["height"]


def test_it_says_when_the_time_is_done(page, planned_batch, clock):
    clock.move_to(planned_batch.planned_contact + timedelta(minutes=2, seconds=5))
    page.reload()
    page.locator(".mixtimer", has_text="Mixed long enough").wait_for()


def test_a_container_left_too_soon_is_noted_and_the_next_one_counts_anew(page):
    assert seconds(page) >= 60
    page.locator("#second").tap()
    page.locator(".mixtimer", has_text="Second container").wait_for()
    page.wait_for_function("() => Queue.unsent().length === 0")
    entry = BatchEntry.objects.get(kind="second_container")
    assert re.match(r"the first container was mixed 1:\d\d min", entry.words)
    assert seconds(page, r"0:\d\d of") < 30


def test_poured_too_soon_asks_why_and_who_decides_until_it_is_mixed(page, planned_batch, clock):
    assert seconds(page) >= 60
    page.locator("#second").tap()
    page.locator("#step h2", has_text="Pour into").wait_for()
    asked = page.locator(".gate", has_text="is to be mixed at least")
    asked.wait_for()
    page.locator("#poured").tap()
    assert "The reason is empty" in page.locator("#gate-judge").inner_text()
    assert not BatchEntry.objects.filter(kind="poured").exists()
    clock.move_to(planned_batch.planned_contact + timedelta(minutes=5))
    asked.wait_for(state="detached")
    page.locator("#poured").tap()
    page.locator("#step h2", has_text="Finished").wait_for()
    page.wait_for_function("() => Queue.unsent().length === 0")
    assert not hasattr(BatchEntry.objects.get(kind="poured"), "gate")


def test_a_reason_with_a_name_goes_along_and_is_kept(page, planned_batch):
    assert seconds(page) >= 60
    page.locator("#second").tap()
    page.locator("#gate-reason").fill("the mixer counts double")
    page.locator("#gate-name").fill("Petra Planner")
    page.locator("#poured").tap()
    page.locator("#step h2", has_text="Finished").wait_for()
    page.wait_for_function("() => Queue.unsent().length === 0")
    gate = BatchEntry.objects.get(kind="poured").gate
    assert [row["code"] for row in gate.hindrances] == ["mixed_too_short"]
    assert (gate.reason, gate.decided_by) == ("the mixer counts double", "Petra Planner")
