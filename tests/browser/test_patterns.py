"""Handing in a pattern: chosen, waited for, looked at, given to a pour, at both widths."""

import pytest

from tests.browser import steps
from tests.browser.test_pages import findings
from tests.planning.core.pattern.meshes import binary_stl, dovetail_mesh

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


DRAWN = """(canvas) => canvas.getContext("2d").getImageData(0, 0, 640, 480)
    .data.filter((value, i) => i % 4 === 3 && value).length"""


@pytest.fixture
def groove(tmp_path, settings):
    """A plate with a dovetail groove, as a file to choose; patterns go to a folder of the test."""
    settings.MEDIA_ROOT = tmp_path / "media"
    path = tmp_path / "groove.stl"
    path.write_bytes(binary_stl(dovetail_mesh()))
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_a_pattern_is_handed_in_and_its_undercuts_are_seen(
    planned_batch, open_page, sign_in, groove, monkeypatch, width
):
    from planning.patterns import actions
    from planning.patterns.models import PatternMesh
    from shared import clock

    # the worker is this test, so that the page is seen waiting first
    monkeypatch.setattr(actions, "_nudge", lambda pattern_id: None)
    page = open_page(width)
    sign_in(page, "petra")
    page.goto("/patterns/new/")
    assert steps.no_sideways_scroll(page)
    assert findings(page) == []
    steps.shot(page, f"pattern-new-{width}")
    page.set_input_files("input[type=file]", groove)
    page.select_option("select[name=unit]", "mm")
    page.get_by_role("button", name="Hand in").click()
    page.get_by_text("It waits for the worker.").wait_for()
    pattern = actions.examine(pattern_id=PatternMesh.objects.get().pk, now=clock.now())
    assert pattern.state == "ready", pattern.refused_because
    page.get_by_text("2 undercuts of 93.91 cm2 together would lock the casting.").wait_for()
    solid = page.locator(".solid canvas")
    page.wait_for_function("() => document.querySelector('.solid canvas').dataset.drawn")
    assert solid.evaluate(DRAWN) > 20_000
    before = solid.get_attribute("data-drawn")
    solid.focus()
    page.keyboard.press("ArrowLeft")
    page.get_by_role("button", name="Tip up").click()
    page.wait_for_function(
        "(old) => document.querySelector('.solid canvas').dataset.drawn.split(' ').slice(0, 2)"
        ".every((now, i) => now !== old.split(' ')[i])",
        arg=before,
    )
    assert page.locator(".picture img").count() == 2
    for picture in page.locator(".picture img").all():
        picture.scroll_into_view_if_needed()
        page.wait_for_function("(image) => image.naturalWidth > 0", arg=picture.element_handle())
    assert steps.no_sideways_scroll(page)
    assert findings(page) == []
    steps.shot(page, f"pattern-{width}")
    page.goto("/patterns/")
    assert steps.no_sideways_scroll(page)
    assert findings(page) == []
    steps.shot(page, f"patterns-{width}")
