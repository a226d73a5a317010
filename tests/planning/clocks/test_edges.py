"""What a clock counts for the edges of its casting is told alike wherever its time is told."""

import io
import re
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from pypdf import PdfReader

from planning.clocks.asking import look
from planning.clocks.words import edges_words
from planning.core.casting.edges import Mould, edge_shares, section_in
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.reminders.wanted import cures_complete
from planning.system_data import system_data
from shared import clock
from shop import stores
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.shop import make_system
from tests.planning.reminders.castings import NOW, make_cure, make_pour, make_shop
from tests.planning.workbench.conftest import KINETICS

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def at_nine(time_machine):
    time_machine.move_to(NOW, tick=False)


SIDES = {"length_mm": 160, "width_mm": 160}


@pytest.fixture
def computed():
    marks = {"bond_conversion": 0.75, "demould_conversion": 0.70}
    return make_system(
        code="T", kinetics={**KINETICS, "marks": marks}, mixed_density_kg_l=Decimal("1.7"),
        reference_c=Decimal(25), demould_min=Decimal(60),
    )  # fmt: skip


@pytest.fixture
def printed():
    return make_system(code="Q", kinetics=None, demould_min=Decimal(480))


def cast(system, **pour):
    """A lift 60 mm deep in a mould of board, poured a day ago, its clock worked out now."""
    made = make_pour(make_shop(time_zone="UTC"), system=system, tool_side="board", **pour)
    cure = make_cure(made)
    cure.lift.depth_mm, cure.lift.mass_kg, cure.lift.expected_c = 60, 2.5, 22
    cure.lift.save()
    assert look(cure, NOW)
    cure.refresh_from_db()
    return cure


def flat(text):
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split()).lower()


def media(cure, browser_of):
    """Return what each place that tells the clock says, on the day it is due."""
    pour = cure.lift.pour
    site = pour.order.site
    page = browser_of("technician", site)
    rest = caller(make_user("technician", site), [site])
    day = clock.local(cure.expected_at, site).date()
    rows = rest.get(f"/api/v1/sheets/{day}?site={site.code}").json()["demoulds"]
    pages = PdfReader(io.BytesIO(page.get(f"/sheets/{day}.pdf").content)).pages
    (wanted,) = cures_complete(NOW)
    return {
        "page of the pour": flat(page.get(f"/pours/{pour.pk}/").content.decode()),
        "sheet": flat(page.get(f"/sheets/{day}/").content.decode()),
        "PDF": flat(" ".join(one.extract_text() for one in pages)),
        "sheet by REST": flat(" ".join(row["edges"] for row in rows)),
        "clock by REST": flat(rest.get(f"/api/v1/cures/{cure.pk}").json()["basis"]),
        "reminder": flat(wanted.words),
    }


@pytest.mark.parametrize("given", [SIDES, {}], ids=["width known", "width not known"])
def test_every_place_tells_what_is_counted_for_the_edges(computed, browser_of, given):
    cure = cast(computed, **given)
    assert cure.edges["width_known"] == bool(given)
    assert cure.edges["share"] > 1.2
    words = edges_words(cure.edges).lower()
    assert f"{cure.edges['share']:g} times as long as the middle" in words
    for where, text in media(cure, browser_of).items():
        assert words in text, where


def test_factor_told_is_the_one_that_the_workbench_works_out(computed, browser_of):
    cure = cast(computed, **SIDES)
    system = system_data(stores.system(computed.pk))
    mould = Mould(float(cure.lift.mass_kg) / 1700 * 1e9 / 60, length_mm=160, width_mm=160)
    section = section_in(mould, 60.0, tool_side("board"), AIR_TOP)
    share = edge_shares(system, section, 22.0).demould
    assert cure.edges["share"] - 0.1 <= share <= cure.edges["share"]
    client = caller(make_user("planner", cure.lift.pour.order.site), [cure.lift.pour.order.site])
    bench = client.get("/api/v1/workbench/section", {
        "system": "T", "shape": section.shape, "width_mm": f"{section.width_mm:.1f}",
        "depth_mm": 60, "shop_c": 22, "tool_side": "board", "wall_side": "board",
    })  # fmt: skip
    assert float(bench.json()["edge_share"]) == pytest.approx(share, abs=0.01)


def test_data_sheet_holds_for_the_whole_casting_and_every_place_says_so(printed, browser_of):
    cure = cast(printed, **SIDES)
    assert cure.edges == {}
    words = edges_words(cure.edges).lower()
    assert "edges included (common practice, no source)" in words
    told = media(cure, browser_of)
    told.pop("reminder")  # it asks for a reading, and gives no time to rest on
    for where, text in told.items():
        assert words in text, where


def test_narrow_mould_is_open_later_than_a_wide_one_as_deep(computed):
    narrow = cast(computed, **SIDES)
    wide = cast(computed, length_mm=3000, width_mm=3000)
    wide.lift.mass_kg = Decimal("900")
    wide.lift.save()
    assert look(wide, NOW + timedelta(minutes=10))
    wide.refresh_from_db()
    assert narrow.edges["share"] > wide.edges["share"] > 1
    assert narrow.demould_due_at >= wide.demould_due_at
    assert narrow.demould_best_at > wide.demould_best_at


def test_running_clocks_are_worked_out_again_by_the_migration(computed):
    from importlib import import_module

    from django.apps import apps

    cure = cast(computed, **SIDES)
    module = import_module("planning.migrations.0039_clocks_with_edges")
    module.ask_again(apps, None)
    before = cure.changes
    cure.refresh_from_db()
    assert (cure.looked_at, cure.changes) == (None, before + 1)
