"""At each step the figure and its button are in view; all that is tapped is 44 px or more."""

from decimal import Decimal

import pytest

from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TALL, ABOVE_A_KEYBOARD = 844, 460
LEAST_PX = 44
"""WCAG 2.2, success criterion 2.5.5, Target Size (Enhanced): at least 44 by 44 CSS pixels."""
TOO_SMALL = """
(least) => {
  const shown = (node) => node.checkVisibility({ visibilityProperty: true })
    && !node.closest("[inert], .unseen") && !node.classList.contains("unseen");
  // A link in a sentence is as high as its line; the criterion leaves it out.
  const inline = (node) => node.tagName === "A" && getComputedStyle(node).display === "inline"
    && node.parentElement.textContent.trim().length > node.textContent.trim().length;
  const nodes = document.querySelectorAll("a[href], button, input, select, textarea, summary");
  return [...nodes].filter((node) => shown(node) && node.type !== "hidden" && !inline(node))
    .map((node) => {
      const label = ["checkbox", "radio"].includes(node.type) && node.closest("label");
      const box = (label || node).getBoundingClientRect();
      return [node.outerHTML.slice(0, 90), box.width, box.height];
    })
    .filter(([, width, height]) => Math.min(width, height) < least - 0.5);
}
"""
IN_VIEW = """
(name) => {
  const node = document.querySelector(name);
  const box = node.getBoundingClientRect();
  const at = (part) =>
    document.elementFromPoint(box.left + box.width / 2, box.top + box.height * part);
  const free = [0.1, 0.5, 0.9].every((part) => node.contains(at(part)));
  return { top: box.top, bottom: innerHeight - box.bottom, free };
}
"""


def too_small(page, where):
    """Fail with what is too small to be hit with a gloved finger."""
    rows = page.evaluate(TOO_SMALL, LEAST_PX)
    assert not rows, "\n".join([where, *map(str, rows)])


def still(page):
    """Wait until the page takes taps again after it has moved."""
    page.wait_for_timeout(150)
    page.wait_for_function("() => !document.documentElement.classList.contains('moved')")


def look(page, title, *, figure=True, typed=None):
    """
    Judge the step as it stands after the one before it, on a phone and above a keyboard.

    The keyboard is there because `typed`, the field that the step asks for, is being filled in.
    """
    steps.wait_for_step(page, title)
    always = ["#potclock-left", "#step .button--big", "[data-alarm=hot_pot]"]
    names = [".target__figure", *always] if figure else always
    for height in (TALL, ABOVE_A_KEYBOARD):
        page.set_viewport_size({"width": 390, "height": height})
        still(page)
        if typed and height == ABOVE_A_KEYBOARD:
            page.locator(typed).blur()
            page.locator(typed).focus()
        else:
            page.locator("#step").evaluate("(node) => node.scrollIntoView({ block: 'start' })")
        for name in [*names, *filter(None, [typed])]:
            seen = page.evaluate(IN_VIEW, name)
            assert seen["top"] >= 0, (title, name, height, seen)
            assert seen["bottom"] >= 0, (title, name, height, seen)
            assert seen["free"], (title, name, height, seen)
        steps.shot(page, f"reach-{title}-{typed}-{height}")
    too_small(page, title)
    page.set_viewport_size({"width": 390, "height": TALL})
    still(page)


def test_each_step_shows_its_figure_and_its_button_also_above_a_keyboard(
    planned_batch, open_page, sign_in, clock
):
    batch = planned_batch
    resin, hardener = batch.lines.order_by("order")
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    sign_off(batch)
    page.goto(f"/batches/{batch.pk}/")
    look(page, "Make ready", figure=False)
    page.locator("#ready").tap()
    look(page, "Weigh resin", typed="#scan")
    steps.scan(page, resin.container.code)
    look(page, "Weigh resin", typed="#reading")
    steps.type_weight(page, resin.target_kg.normalize())
    page.locator("#take").tap()
    steps.wait_for_step(page, "Weigh hardener")
    steps.scan(page, hardener.container.code)
    steps.type_weight(page, (hardener.target_kg * Decimal("1.1")).quantize(Decimal("0.001")))
    page.locator("#take").tap()
    look(page, "Put the ratio right", typed="#reading")
    steps.type_weight(page, page.locator(".target__figure").inner_text())
    page.locator("#take").tap()
    look(page, "first contact")
    steps.wait_until_sent(page)
    clock.move_to(batch.planned_contact)
    page.locator("#contact").tap()
    look(page, "Second container", figure=False)
    page.locator("#second").tap()
    look(page, "Pour into")
    page.get_by_text("What leaked or lacks").tap()
    for kind in ("leak", "short", "remark", "scrapped"):
        page.locator(f"#trouble-{kind}").tap()
        too_small(page, kind)
    page.get_by_role("button", name="Amend").first.tap()
    too_small(page, "amend")
    page.get_by_role("button", name="Hot pot", exact=True).tap()
    page.locator("#alarm-hide").wait_for()
    too_small(page, "alarm")


@pytest.mark.parametrize("width", [390, 820])
def test_all_that_is_tapped_on_today_is_44_px_or_more(
    planned_batch, open_page, sign_in, clock, width
):
    page = open_page(width)
    sign_in(page, "tess")
    for ask in ("who=all", "who=all&rest=1"):
        page.goto(f"/today/?{ask}")
        for fold in page.locator("details:not([open]) > summary").all():
            fold.tap()
        too_small(page, ask)
        assert steps.no_sideways_scroll(page)
