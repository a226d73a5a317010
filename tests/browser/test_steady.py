"""Nothing moves under a finger: taps at random moments hit what they were meant for."""

import random

import pytest

from planning.batches.models import BatchEntry
from planning.weigh_in import actions
from shop.models import Lot
from tests.browser import steps
from tests.factories.floor import sign_off, weigh_all

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
IN_THE_BUILD, IN_FULL = 40, 200
REACTS_MS = 100
"""Nobody's finger follows what has moved on the screen sooner than this."""
FINGER_PX = 12
"""So far beside a button a finger still means it, where no other one lies under its middle."""
WATCH = """
window.shifts = [];
window.acted = [];
window.down = 0;
const aim = JSON.parse(sessionStorage.getItem("aim") || "[0, 0]");
const frames = [];
new PerformanceObserver((list) => {
  for (const one of list.getEntries()) if (!one.hadRecentInput) window.shifts.push(one.value);
}).observe({ type: "layout-shift", buffered: true });
// What lies under the finger, read from the boxes of the buttons, whether they take taps or not;
// where it is none, what the browser takes a broad finger to mean.
const within = (more) => [...document.querySelectorAll("button, a, summary")].filter((node) => {
  const box = node.getBoundingClientRect();
  const [x, y] = aim;
  return box.width && box.left - more <= x && x < box.right + more && box.top - more <= y
    && y < box.bottom + more;
});
const under = () => { const hit = within(0); return hit.length ? hit : within(FINGER_PX); };
(function watch() {
  frames.push([performance.now(), under()]);
  requestAnimationFrame(watch);
})();
addEventListener("pointerdown", (event) => { window.down = event.timeStamp; }, true);
const acts = (what, node) => {
  // On the screen in that time: what was drawn in it, and what stood there when it began.
  const from = window.down - REACTS_MS;
  const before = frames.filter(([at]) => at < from).slice(-1);
  const seen = [...before, ...frames.filter(([at]) => at >= from && at <= window.down)];
  const right = seen.length > 0 && seen.every(([, nodes]) => nodes.includes(node));
  const told = seen.map(([at, nodes]) => [Math.round(at - window.down), nodes.includes(node)]);
  window.acted.push({ what, right, told });
};
// After the page's own listeners: what came so far would have been done. Nothing is really sent.
addEventListener("click", (event) => {
  const node = event.target.closest("button, a, summary");
  // What tells trouble is never inert: shown again it would be told as well.
  if (node && !node.dataset.alarm) acts(node.id || node.textContent.slice(0, 30), node);
  event.preventDefault();
});
document.addEventListener("DOMContentLoaded", () => { Queue.add = () => {}; });
"""


@pytest.fixture
def live(planned_batch, open_page, sign_in, clock):
    """A pot that was mixed a minute ago, and a phone whose page watches every shift and hit."""
    batch = planned_batch
    clock.move_to(batch.planned_start)
    sign_off(batch)
    weigh_all(batch)
    for kind in ("contact", "second_container"):
        at = batch.planned_contact
        actions.record_entry(batch=batch, kind=kind, key=kind, at=at, now=at)
    clock.move_to(batch.planned_contact)
    page = open_page(390)
    sign_in(page, "tess")
    script = WATCH.replace("REACTS_MS", str(REACTS_MS)).replace("FINGER_PX", str(FINGER_PX))
    page.add_init_script(script)
    return batch, page


def tap_at_random(live, taps):
    """
    Tap after reloads, at random moments and places; return how many taps did something.

    Every third tap aims at the figure, where a tap once hit the button that had jumped there; the
    page stands scrolled anywhere when it is loaded again.
    """
    batch, page = live
    chance = random.Random(7)
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_for_step(page, "Pour into")
    acted = 0
    for number in range(taps):
        x, y = chance.randrange(5, 385), chance.randrange(5, 839)
        if number % 3 == 0:
            figure = page.locator(".target__figure").bounding_box()
            x, y = figure["x"] + 20, min(830, max(5, figure["y"] + 10))
        page.evaluate(
            "([x, y, down]) => { sessionStorage.setItem('aim', JSON.stringify([x, y]));"
            " scrollTo(0, down); }",
            [x, y, chance.choice([0, 0, chance.randrange(0, 1500)])],
        )
        page.reload(wait_until="commit")
        page.wait_for_timeout(chance.randrange(0, 900))
        page.touchscreen.tap(x, y)
        page.wait_for_timeout(60)
        steps.wait_for_step(page, "Pour into")
        found = page.evaluate("window.acted")
        assert [one for one in found if not one["right"]] == [], (number, x, y)
        assert page.evaluate("window.shifts") == [], (number, x, y)
        acted += len(found)
    assert not BatchEntry.objects.filter(kind="poured").exists()
    return acted


def test_taps_at_random_moments_after_a_reload_hit_what_was_under_the_finger(live):
    assert tap_at_random(live, IN_THE_BUILD) > 0


@pytest.mark.benchmark_run
def test_two_hundred_taps_hit_what_was_under_the_finger(live):
    assert tap_at_random(live, IN_FULL) > 20


def in_view(page, names, height):
    """Say of each part whether it lies whole in the visible page and under nothing else."""
    for name in names:
        box = page.locator(name).bounding_box()
        assert box["y"] >= 0, (name, height, box)
        assert box["y"] + box["height"] <= height, (name, height, box)
        page.wait_for_function(
            """(name) => { const node = document.querySelector(name);
                const box = node.getBoundingClientRect();
                return [0.1, 0.5, 0.9].every((part) => node.contains(document.elementFromPoint(
                  box.left + box.width / 2, box.top + box.height * part))); }""",
            arg=name,
        )


TROUBLE = "[data-alarm=hot_pot]"


def test_figure_record_and_trouble_stay_in_view_also_above_a_keyboard(live):
    batch, page = live
    for height in (844, 460):
        page.set_viewport_size({"width": 390, "height": height})
        page.goto(f"/batches/{batch.pk}/")
        steps.wait_for_step(page, "Pour into")
        page.wait_for_timeout(500)
        page.locator("#step").evaluate("(node) => node.scrollIntoView({ block: 'start' })")
        in_view(page, (".target__figure", "#poured", TROUBLE), height)
        steps.shot(page, f"steady-{height}")


def test_while_a_weight_is_typed_the_figure_and_record_are_in_view(
    planned_batch, open_page, sign_in, clock
):
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    for height in (844, 460):
        page.set_viewport_size({"width": 390, "height": height})
        page.goto(f"/batches/{planned_batch.pk}/")
        if height == 844:
            page.locator("#ready").tap()
        steps.wait_for_step(page, "Weigh resin")
        steps.scan(page, planned_batch.lines.get(role="resin").container.code)
        page.locator("#reading").focus()
        page.wait_for_timeout(500)
        in_view(page, (".target__figure", "#reading", "#take", TROUBLE), height)
        steps.shot(page, f"steady-weigh-{height}")


def test_what_destroys_lies_far_from_what_records(live):
    batch, page = live
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_for_step(page, "Pour into")
    page.get_by_text("What leaked or lacks").tap()
    boxes = [page.locator(name).bounding_box() for name in ("#poured", "#trouble-scrapped")]
    flow = [box["y"] + page.evaluate("scrollY") for box in boxes]
    assert abs(flow[1] - flow[0]) > 200


def test_a_lot_held_meanwhile_reaches_the_open_page_and_locks_its_button(live):
    batch, page = live
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_for_step(page, "Pour into")
    page.wait_for_timeout(4500)  # the page has asked once how things stand
    Lot.objects.filter(containers__in=[batch.lines.first().container_id]).update(status="held")
    page.locator(".gate", has_text="it is held").wait_for(timeout=5000)
    assert page.locator("#poured").is_disabled()
