"""Printed labels before a camera and from a hand scanner, in each place that asks for a code."""

import io
import re

import pytest
from PIL import Image

from planning.batches.models import Weighing
from shared.codes.finding import code_of, path_to
from shop.counting.models import CycleCount
from shop.labels.pdf import plain_label
from shop.lots.models import Container
from shop.sites.models import Location
from shop.tools.actions import make_tool
from shop.tools.models import Tool
from tests.browser import steps
from tests.browser.labels import ELSEWHERE, TURNED, label_of, printed
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def burst(page, text: str) -> None:
    """Type as a hand scanner does, wherever the focus is: all keys at once, then Enter."""
    page.evaluate(
        """(text) => {
          for (const key of [...text, "Enter"]) {
            const at = document.activeElement;
            const event = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
            if (at.dispatchEvent(event) && at instanceof HTMLInputElement && key !== "Enter") {
              at.value += key;
            }
          }
        }""",
        text,
    )


def read_on_page(page, picture: Image.Image) -> str:
    """Read a picture by the decoder that the page ships."""
    out = io.BytesIO()
    picture.save(out, "PNG")
    return page.evaluate(
        """async (bytes) => {
          const own = document.querySelector("script[data-decoder]").dataset;
          const load = (address) => new Promise((done, failed) => {
            const script = Object.assign(document.createElement("script"), { src: address });
            script.onload = done; script.onerror = failed; document.head.append(script);
          });
          if (typeof Camera === "undefined") await load(own.camera);
          const picture = await createImageBitmap(new Blob([new Uint8Array(bytes)]));
          return Camera.readPicture(picture, picture.width, picture.height,
            { decoder: own.decoder, wasm: own.wasm, load }, false);
        }""",
        list(out.getvalue()),
    )


@pytest.fixture
def can(shop):
    return Container.objects.filter(lot__code="T-4711").first()


def test_every_label_is_read_by_the_pages_decoder_blurred_and_turned(
    shop, can, open_page, sign_in, tmp_path
):
    tool = make_tool(site_id=shop.pk, code="GRIP-1", name="Grip", kind="single")
    shelf = Location.objects.filter(site=shop).first()
    page = open_page(1280)
    sign_in(page, "tess")
    labels = {
        path_to("can", can.pk): label_of(can),
        path_to("tool", tool.id): plain_label("tool", tool.id, "GRIP-1", "Grip", ELSEWHERE),
        path_to("shelf", shelf.pk): plain_label(
            "shelf", shelf.pk, shelf.code, shelf.name, ELSEWHERE
        ),
    }
    for path, label in labels.items():
        for turned in TURNED:
            assert read_on_page(page, printed(label, tmp_path, turned)) == ELSEWHERE + path, turned


def test_a_hand_scanner_without_focus_is_understood_in_each_place(
    shop, can, open_page, sign_in, clock
):
    tool = Tool.objects.get(
        pk=make_tool(site_id=shop.pk, code="G-1", name="Grip", kind="single").id
    )
    label = ELSEWHERE + path_to("can", can.pk)
    page = open_page(1280)
    sign_in(page, "tess")
    lot_page = re.compile(rf"/stock/lots/{can.lot_id}/\?container={can.pk}")
    for text in (label, code_of("can", can.pk), can.code):
        page.goto("/stock/")
        burst(page, text)
        page.wait_for_url(lot_page)
    page.goto("/today/")
    burst(page, label)
    page.wait_for_url(lot_page)
    page.goto("/tools/")
    burst(page, ELSEWHERE + path_to("tool", tool.pk))
    page.wait_for_url(f"**/tools/{tool.pk}/")
    page.goto("/stock/goods-in/")
    page.locator("h1").click()
    burst(page, label)
    page.wait_for_url(re.compile("scan="))
    assert page.locator("#lot_code").input_value() == can.lot.code
    page.goto("/trace/")
    burst(page, label)
    page.wait_for_url(re.compile(rf"lot={can.lot_id}"))


def test_lists_of_cans_and_shelves_take_a_scan(shop, can, open_page, sign_in):
    shelf = Location.objects.filter(site=shop).exclude(pk=can.location_id).first()
    page = open_page(1280)
    sign_in(page, "tess")
    page.goto(f"/stock/lots/{can.lot_id}/")
    page.get_by_text("Move to another shelf").click()
    burst(page, ELSEWHERE + path_to("can", can.pk))
    page.get_by_text(re.compile(f"can {can.code} of .* is chosen")).wait_for()
    burst(page, code_of("shelf", shelf.pk))
    page.wait_for_function(
        f"() => document.getElementById('move-location').value === '{shelf.pk}'"
    )


def test_a_count_takes_the_label_and_goes_on_to_the_figure(shop, can, open_page, sign_in):
    page = open_page(1280)
    sign_in(page, "tess")
    page.goto("/stock/counts/")
    burst(page, ELSEWHERE + path_to("shelf", can.location_id))
    page.wait_for_function(
        f"() => document.getElementById('location').value === '{can.location_id}'"
    )
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url(f"**/counts/{CycleCount.objects.get().pk}/")
    page.locator("h1").click()
    burst(page, ELSEWHERE + path_to("can", can.pk))
    assert page.evaluate("document.activeElement.id") == "figure"
    page.keyboard.type("3.5")
    page.get_by_role("button", name="Write down").click()
    page.get_by_text(f"{can.code} is written down").wait_for()


def test_at_the_scale_the_can_is_known_by_its_label_and_a_weight_is_not_spoilt_by_a_scan(
    planned_batch, open_page, sign_in, clock
):
    line = planned_batch.lines.order_by("order").first()
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    sign_off(planned_batch)
    page.goto(f"/batches/{planned_batch.pk}/")
    page.locator("#ready").tap()
    steps.wait_for_step(page, "Weigh resin")
    burst(page, ELSEWHERE + path_to("can", line.container_id))
    page.locator("#reading").wait_for()
    steps.type_weight(page, "1.5")
    page.locator("#reading").focus()
    burst(page, "somebody scans a label")
    assert page.locator("#reading").input_value() == "1.5"
    steps.type_weight(page, "0")
    assert page.locator("#reading").input_value() == "1.50"
    assert Weighing.objects.count() == 0
