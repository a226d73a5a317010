"""Printed labels before a phone's camera, in every place of the pages that asks for a code."""

import re
from pathlib import Path

import pytest

from planning.batches.models import Weighing
from shared.codes.finding import path_to
from shop.labels.pdf import plain_label
from shop.models import Container
from shop.sites.models import Location
from tests.browser import steps
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.labels import ELSEWHERE, before_the_camera, label_of, printed, printed_sheet
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TREE = Path(__file__).parents[2]
FIELD = re.compile(r"<(?:input|select)\b[^>]*?\bid=\"([^\"]+)\"[^>]*\bdata-scan=\"(\w+)\"")
ANY_FIELD = re.compile(r"data-scan=\"\w+\"")
DRAWN = re.compile(r"id: \"([^\"]+)\", \"data-scan\": \"(\w+)\"")


class Bench:
    """A phone whose camera looks at what lies on the bench, and the things that have labels."""

    def __init__(self, page, film, folder, batch):
        self.page, self.film, self.folder, self.batch = page, film, folder, batch
        self.line = batch.lines.order_by("order").first()
        self.can = self.line.container
        self.shelf = Location.objects.filter(site=batch.site).exclude(pk=self.can.location_id)[0]
        self.tool = batch.portions.first().lift.pour.order.tool
        self.turned = 12

    def lay(self, label):
        """Lay a label under the camera; each lies otherwise than the one before."""
        self.turned = (self.turned + 79) % 360
        before_the_camera(printed(label, self.folder, self.turned), self.film)

    def lay_can(self, can=None):
        self.lay(label_of(can or self.can))

    def lay_other(self, kind, row):
        self.lay(plain_label(kind, row.pk, row.code, row.name, ELSEWHERE))

    def read_into(self, field):
        """Tap the camera's button beside a field."""
        self.page.locator(f"#{field} ~ .scanbutton").first.tap()

    def wait_for_value(self, field, value):
        self.page.wait_for_function(
            "([field, value]) => document.getElementById(field).value === value",
            arg=[field, str(value)],
        )

    def lot_page(self):
        self.page.wait_for_url(re.compile(rf"/stock/lots/{self.can.lot_id}/\?container="))

    def fold_out(self, words):
        self.page.goto(f"/stock/lots/{self.can.lot_id}/")
        self.page.locator("summary", has_text=words).tap()


def at_the_scale(bench):
    sign_off(bench.batch)
    steps.open_to_weigh(bench.page, bench.batch)
    bench.lay_can()
    bench.read_into("scan")
    bench.page.locator("#reading").wait_for()
    assert bench.page.evaluate("typeof ZXingWASM") == "object"  # the decoder that the page ships


def from_paper(bench):
    line = bench.line
    bench.page.goto(f"/batches/{bench.batch.pk}/from-paper/")
    bench.page.fill("#weighed_at", "10:45")
    bench.page.fill(f"#kg-{line.pk}-1", "0.5")
    bench.lay_can()
    bench.read_into(f"can-{line.pk}-1")
    bench.wait_for_value(f"can-{line.pk}-1", ELSEWHERE + path_to("can", bench.can.pk))
    steps.tap(bench.page, "Record what the paper says")
    bench.page.get_by_text("of the paper are recorded").or_(
        bench.page.get_by_text("of the paper is recorded")
    ).wait_for()
    assert Weighing.objects.get().container == bench.can


def any_code(bench):
    """Read the code of a batch on the day's paper."""
    before_the_camera(printed_sheet(bench.batch, bench.folder, 33), bench.film)
    bench.page.goto("/scan/")
    bench.read_into("code")
    bench.page.wait_for_url(re.compile(rf"/batches/{bench.batch.pk}/"))


def trace_of_a_lot(bench):
    bench.page.goto("/trace/")
    bench.lay_can()
    bench.read_into("code")
    bench.page.wait_for_url(re.compile(rf"lot={bench.can.lot_id}"))


def trace_of_a_tool(bench):
    bench.page.goto("/trace/")
    bench.lay_other("tool", bench.tool)
    bench.read_into("tool")
    bench.page.get_by_text("is chosen").wait_for()
    bench.wait_for_value("tool", bench.tool.pk)


def tools(bench):
    bench.page.goto("/tools/")
    bench.lay_other("tool", bench.tool)
    bench.read_into("code")
    bench.page.wait_for_url(re.compile(rf"/tools/{bench.tool.pk}/"))


def stock(bench):
    bench.page.goto("/stock/")
    bench.lay_can()
    bench.read_into("code")
    bench.lot_page()


def into_another_can(bench):
    bench.fold_out("Pour into a can of another lot")
    other = Container.objects.filter(lot__material=bench.can.lot.material).exclude(
        pk=bench.can.pk
    )[0]
    bench.lay_can(other)
    bench.read_into("mix-other")
    bench.wait_for_value("mix-other", ELSEWHERE + path_to("can", other.pk))
    assert bench.page.evaluate("document.activeElement.textContent") == "Pour together"


def can_of_a_lot(bench):
    bench.fold_out("Move to another shelf")
    last = bench.can.lot.containers.order_by("pk").last()
    bench.lay_can(last)
    bench.read_into("move-container")
    bench.page.get_by_text("is chosen").wait_for()
    bench.wait_for_value("move-container", last.pk)


def shelf_of_a_can(bench):
    bench.fold_out("Move to another shelf")
    bench.lay_other("shelf", bench.shelf)
    bench.read_into("move-location")
    bench.wait_for_value("move-location", bench.shelf.pk)
    bench.page.get_by_role("button", name="Move", exact=True).tap()
    bench.page.get_by_role("status").first.wait_for()
    assert bench.can.lot.containers.filter(location=bench.shelf).count() == 1


def goods_in(bench):
    bench.page.goto("/stock/goods-in/")
    bench.lay_can()
    bench.read_into("scan")
    bench.page.wait_for_url(re.compile("scan="))
    assert bench.page.locator("#lot_code").input_value() == bench.can.lot.code


def shelf_of_goods(bench):
    bench.page.goto("/stock/goods-in/")
    bench.lay_other("shelf", bench.shelf)
    bench.read_into("location")
    bench.wait_for_value("location", bench.shelf.pk)


def lots_on_a_shelf(bench):
    bench.page.goto("/stock/lots/")
    bench.lay_other("shelf", bench.shelf)
    bench.read_into("shelf")
    bench.wait_for_value("shelf", bench.shelf.pk)


def shelf_to_count(bench):
    bench.page.goto("/stock/counts/")
    bench.lay_other("shelf", Location.objects.get(pk=bench.can.location_id))
    bench.read_into("location")
    bench.wait_for_value("location", bench.can.location_id)


def can_to_count(bench):
    shelf_to_count(bench)
    steps.tap(bench.page, "Begin")
    bench.page.wait_for_url(re.compile(r"/counts/\d+/"))
    left = Container.objects.filter(location=bench.can.location_id, balance__gt=0).last()
    bench.lay_can(left)
    bench.read_into("code")
    bench.wait_for_value("code", ELSEWHERE + path_to("can", left.pk))
    bench.page.fill("#figure", "3.5")
    steps.tap(bench.page, "Write down")
    bench.page.get_by_text(f"{left.code} is written down").wait_for()


PLACES = {
    ("weighing.js", "scan", "own"): at_the_scale,
    ("planning/batches/from_paper.html", "{{ can.can.name }}", "next"): from_paper,
    ("codes/scan.html", "code", "submit"): any_code,
    ("shop/trace/trace.html", "code", "submit"): trace_of_a_lot,
    ("shop/trace/trace.html", "tool", "tool"): trace_of_a_tool,
    ("shop/tools/tools.html", "code", "submit"): tools,
    ("shop/stock/stock.html", "code", "submit"): stock,
    ("shop/stock/lot.html", "mix-other", "next"): into_another_can,
    ("shop/stock/container_field.html", "{{ id }}-container", "can"): can_of_a_lot,
    ("shop/stock/shelf_field.html", "{{ id }}-location", "shelf"): shelf_of_a_can,
    ("shop/stock/goods_in.html", "scan", "submit"): goods_in,
    ("shop/stock/goods_in.html", "location", "shelf"): shelf_of_goods,
    ("shop/stock/lots.html", "shelf", "shelf"): lots_on_a_shelf,
    ("shop/counting/counts.html", "location", "shelf"): shelf_to_count,
    ("shop/counting/count.html", "code", "next"): can_to_count,
}
"""Each field of a template or script that a code is read into, and how it is tried."""


def fields_of_the_pages():
    """Return every field that a code is read into, as templates and scripts name it."""
    found = set()
    for path in TREE.glob("*/templates/**/*.html"):
        text = path.read_text(encoding="utf-8")
        name = str(path).rpartition("/templates/")[2]
        rows = FIELD.findall(text)
        assert len(rows) == len(ANY_FIELD.findall(text)), f"{name}: a field without an id"
        found |= {(name, *row) for row in rows}
    for path in TREE.glob("*/static/**/*.js"):
        found |= {(path.name, *row) for row in DRAWN.findall(path.read_text(encoding="utf-8"))}
    return found


def test_no_place_that_asks_for_a_code_is_left_out():
    assert fields_of_the_pages() == set(PLACES)


@pytest.fixture
def bench(planned_batch, live_server, troubles, sign_in, clock, tmp_path, chromium):
    """A phone before the page, signed in, when the batch is due."""
    film = tmp_path / "bench.y4m"
    camera = [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    ]
    browser = chromium.browser_type.launch(executable_path=CHROMIUM, args=[*ARGUMENTS, *camera])
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True,
        base_url=live_server.url.replace("127.0.0.1", "localhost"),
        permissions=["camera"],
    )  # fmt: skip
    context.set_default_timeout(20_000)
    page = context.new_page()
    troubles.watch(page)
    clock.move_to(planned_batch.planned_start)
    yield Bench(page, film, tmp_path, planned_batch)
    browser.close()


def test_the_camera_reads_a_printed_label_in_each_place(bench, sign_in):
    sign_in(bench.page, "petra")
    for place in PLACES.values():
        try:
            place(bench)
        except Exception as error:
            raise AssertionError(f"{place.__name__}: {error}") from error
        bench.page.locator("dialog.camera[open]").wait_for(state="detached")
