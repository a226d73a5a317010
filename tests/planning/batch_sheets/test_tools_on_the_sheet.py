"""A re-coat that is due stands on the morning sheet of its day: page, sheet, PDF and REST."""

import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from pypdf import PdfReader

from planning.batch_sheets.pdf import sheet_pdf
from planning.batch_sheets.queries import sheet
from shared import clock
from shop.tools.actions import add_event
from shop.tools.face import Coat
from tests.conftest import make_user
from tests.factories.shop import make_location, make_material, make_recipe, make_tool

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def tool(shop_site):
    """A tool with 10 shots left on its coats at 5 a day: due in two days."""
    wax = make_material(kind="release_agent", name="Paste wax two", use_per_m2=Decimal("0.03"))
    recipe = make_recipe(material=wax, coats=1, shots_per_coat=30)
    shelf = make_location(shop_site, name="Press row")
    tool = make_tool(shop_site, code="RIM-7", name="Rim", release_recipe=recipe, location=shelf)
    now = clock.now()
    add_event(tool_id=tool.pk, kind="coat", key="c", at=now - 4 * DAY, coat=Coat(1))
    for n in (3, 2, 1, 0):
        add_event(tool_id=tool.pk, kind="shots", key=f"s{n}", at=now - n * DAY, shots=5)
    return tool


def shown(site, client, day):
    """Return what each way of reading a day's sheet says."""
    found = sheet(site=site, day=day, now=clock.now(), on_paper=True)
    pdf = PdfReader(io.BytesIO(sheet_pdf(found)))
    return {
        "page": client.get(f"/today/?day={day}&who=all").content.decode(),
        "sheet": client.get(f"/sheets/{day}/").content.decode(),
        "paper": " ".join(page.extract_text() for page in pdf.pages),
        "rest": repr(found["tools"]),
    }


def test_it_stands_on_the_sheet_of_its_day_and_of_no_other(tool, shop_site):
    client, today = Client(), clock.today(shop_site)
    client.force_login(
        make_user("technician", shop_site),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    for days in range(-1, 5):
        for where, text in shown(shop_site, client, today + days * DAY).items():
            words = ("RIM-7", "Press row", "10 shots left", "1 coat of Paste wax two")
            for one in words:
                said = one in " ".join(text.split())
                assert said == (days == 2), (where, days, one)


def test_what_is_overdue_stays_on_today_until_it_is_done(tool, shop_site):
    now, today = clock.now(), clock.today(shop_site)
    add_event(tool_id=tool.pk, kind="shots", key="more", at=now, shots=12)
    [row] = sheet(site=shop_site, day=today, now=now)["tools"]
    assert (row["work"], row["due_on"], row["is_due"]) == ("A re-coat", today, True)
    assert sheet(site=shop_site, day=today + DAY, now=now)["tools"] == []
    add_event(tool_id=tool.pk, kind="coat", key="c2", at=now, coat=Coat(1))
    assert sheet(site=shop_site, day=today, now=now)["tools"] == []
