"""Nothing moves under a finger: taps at random moments hit what they were meant for."""

import random

import pytest

from planning.batches.models import BatchEntry
from planning.weigh_in import actions
from shop.models import Lot
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TAPS = 12
"""Enough for the build; set higher for a long run."""
WATCH = """
window.shifts = [];
window.hits = [];
new PerformanceObserver((list) => {
  for (const one of list.getEntries()) if (!one.hadRecentInput) window.shifts.push(one.value);
}).observe({ type: "layout-shift", buffered: true });
addEventListener("click", (event) => {
  window.hits.push(event.target.closest("button, a")?.id || "");
});
"""


@pytest.fixture
def live(planned_batch, open_page, sign_in, clock):
    """A pot that was mixed a minute ago, and a phone whose page watches every shift and hit."""
    batch = planned_batch
    clock.move_to(batch.planned_start)
    sign_off(batch)
    for line in batch.lines.all():
        actions.record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key=f"w{line.pk}",
            at=batch.planned_start,
            now=batch.planned_start,
        )
    for kind in ("contact", "second_container"):
        at = batch.planned_contact
        actions.record_entry(batch=batch, kind=kind, key=kind, at=at, now=at)
    clock.move_to(batch.planned_contact)
    page = open_page(390)
    sign_in(page, "tess")
    page.add_init_script(WATCH)
    return batch, page


def test_taps_at_random_moments_after_a_reload_hit_what_was_under_the_finger(live):
    batch, page = live
    moments = random.Random(7)
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_for_step(page, "Pour into")
    figure = page.locator(".target__figure").bounding_box()
    for _ in range(TAPS):
        page.reload(wait_until="commit")
        page.wait_for_timeout(moments.randrange(0, 900))
        page.touchscreen.tap(figure["x"] + 20, figure["y"] + 10)
        page.wait_for_timeout(150)
        assert page.evaluate("window.hits.filter((id) => id === 'poured')") == []
        steps.wait_for_step(page, "Pour into")
        assert page.evaluate("window.shifts") == []
    assert not BatchEntry.objects.filter(kind="poured").exists()


def test_figure_and_record_stay_in_view_also_above_a_keyboard(live):
    batch, page = live
    for height in (844, 460):
        page.set_viewport_size({"width": 390, "height": height})
        page.goto(f"/batches/{batch.pk}/")
        steps.wait_for_step(page, "Pour into")
        page.locator("#step").evaluate("(node) => node.scrollIntoView({ block: 'start' })")
        for name in (".target__figure", "#poured"):
            box = page.locator(name).bounding_box()
            assert box["y"] >= 0, (name, height, box)
            assert box["y"] + box["height"] <= height, (name, height, box)
        steps.shot(page, f"steady-{height}")


def test_a_lot_held_meanwhile_reaches_the_open_page_and_locks_its_button(live):
    batch, page = live
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_for_step(page, "Pour into")
    page.wait_for_timeout(4500)  # the page has asked once how things stand
    Lot.objects.filter(containers__in=[batch.lines.first().container_id]).update(status="held")
    page.locator(".gate", has_text="it is held").wait_for(timeout=5000)
    assert page.locator("#poured").is_disabled()
