"""What is assumed of a system that was not measured stands on page, sheet, PDF and in the API."""

import inspect
import io
import re
from html import unescape

from django.test import Client
from pypdf import PdfReader

from planning.batch_sheets.mix_heat import mix_heat
from planning.batches.models import Batch
from planning.core.casting import cautions as cautions_module
from planning.core.casting.cautions import cautions_of
from planning.system_data import system_data
from shared import clock
from shop import stores
from shop.models import ResinSystem, SystemComponent
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.shop import make_container, make_lot, make_material

FITTED_HOT = {"fitted_from_c": 60.0, "fitted_to_c": 100.0}
NEVER_DONE = {"demould_conversion": 0.97}
"""At the temperature of the invented shop the cure stops before."""
ALL = set(re.findall(r'Caution\(\s*"(\w+)"', inspect.getsource(cautions_module)))
"""Every caution there is, as the module writes it: a new one must be brought about here too."""


def test_every_caution_is_on_page_sheet_and_pdf_and_in_the_api(take, planned, shop_site):
    computed = ResinSystem.objects.get(code="T")
    ResinSystem.objects.filter(code="T").update(
        cap_c=None, kinetics={**computed.kinetics, **FITTED_HOT, "marks": NEVER_DONE}
    )
    ResinSystem.objects.filter(code="Q").update(kinetics=None)
    mix_in_pigment(computed, shop_site)
    planned(
        take("T-1", system="T", depth_mm="20"),
        take("T-2", system="Q", depth_mm="25", mould_c="32"),
    )
    seen = set()
    for batch in Batch.objects.select_related("site"):
        info = stores.system(batch.system_id)
        cautions = mix_heat(batch, info).cautions
        assert cautions
        for where, text in texts_of(batch).items():
            for one in cautions:
                assert one.words in text, (where, one.code)
        seen |= {one.code for one in cautions}
    assert len(ALL) > 5
    assert seen == ALL


def mix_in_pigment(system, site):
    """Give a system a third component, and a can of it."""
    black = make_material(kind="pigment", name="Black")
    SystemComponent.objects.create(
        system=system, name="pigment", material=black, per_100=2, source="made up"
    )
    make_container(make_lot(site, black), holds=5)


def texts_of(batch):
    user = make_user("technician", batch.site)
    page, rest = Client(), caller(user, [batch.site])
    page.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    day = clock.local(batch.planned_start, batch.site).date()
    rows = rest.get(f"/api/v1/sheets/{day}?site={batch.site.code}").json()["batches"]
    (row,) = [row for row in rows if row["number"] == batch.number]
    sheet = page.get(f"/sheets/{day}/").content.decode()
    pages = PdfReader(io.BytesIO(page.get(f"/sheets/{day}.pdf").content)).pages
    pdf = [one.extract_text() for one in pages]
    found = {
        "page": page.get(f"/batches/{batch.pk}/").content.decode(),
        "sheet": sheet[sheet.index(f'aria-label="Batch {batch.number}"') :].split("</section>")[0],
        "pdf": " ".join(text for text in pdf if batch.number in text),
        "rest": " ".join(one["text"] for one in row["assumed"]),
    }
    return {where: " ".join(unescape(text).split()) for where, text in found.items()}


def test_the_workbench_says_the_same(shop_site):
    ResinSystem.objects.filter(code="T").update(cap_c=None)
    client = caller(make_user("planner", shop_site), [shop_site])
    told = client.get(
        "/api/v1/workbench/lift?system=T&depth_mm=40&shop_c=22&tool_side=board"
    ).json()
    info = stores.system_by_code("T")
    notes = {note["words"] for note in told["notes"]}
    cautions = cautions_of(system_data(info), 22.0)
    assert {one.code for one in cautions} == {"peak_limit", "gel_conversion"}
    assert {one.words for one in cautions} <= notes
