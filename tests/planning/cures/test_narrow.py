"""The page of a pour tells when a lift is too narrow for the figures of a wide one."""

import html
import re
from datetime import timedelta
from decimal import Decimal

import pytest

from planning.clocks.asking import look
from planning.clocks.words import edges_words
from planning.cures.narrow import narrow_lift
from planning.cures.page_data import lifts_of
from shop import stores
from tests.factories.shop import make_system
from tests.planning.reminders.castings import HOUR, NOW, make_cure, make_pour, make_shop
from tests.planning.workbench.conftest import KINETICS

pytestmark = pytest.mark.django_db


@pytest.fixture
def system():
    return make_system(
        code="T", kinetics=KINETICS, mixed_density_kg_l=Decimal("1.7"), reference_c=Decimal(25),
        demould_min=Decimal(1440),
    )  # fmt: skip


def cast(system, mass_kg, **pour):
    """A lift 60 mm deep, of board below, poured a day ago."""
    made = make_pour(make_shop(time_zone="UTC"), system=system, tool_side="board", **pour)
    cure = make_cure(made)
    cure.lift.depth_mm, cure.lift.mass_kg, cure.lift.expected_c = 60, mass_kg, 22
    cure.lift.save()
    return made, cure


def told(pour):
    return narrow_lift(pour, lifts_of(pour, NOW), stores.system(pour.system_id))


def words_of(page):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page.content.decode())))


def test_wide_lift_needs_no_word(system):
    # 20 kg of 1.7 kg/L, 60 mm deep: 0.196 m2, as a disc of 500 mm.
    pour, _ = cast(system, 20)
    assert told(pour) is None


def test_narrow_lift_is_named_with_what_it_gets_instead(system, browser_of):
    # 2 kg: 0.0196 m2, as a disc of 158 mm.
    pour, _ = cast(system, 2)
    found = told(pour)
    assert (found.number, found.depth_mm, found.width_mm) == (1, 60, 158)
    assert 22 < found.peak_c < found.wide_peak_c
    assert found.edge_h > found.wide_edge_h
    page = browser_of("technician", pour.order.site).get(f"/pours/{pour.pk}/")
    words = words_of(page)
    assert "Lift 1 is 60 mm deep and only about 158 mm wide." in words
    assert f"it gets about {found.peak_c} °C hot" in words
    assert f"by a wide lift, {found.wide_peak_c} °C" in words
    assert f"done after about {found.edge_h} h, a wide lift after {found.wide_edge_h} h" in words


def test_link_opens_the_calculator_with_the_same_figures(system, browser_of):
    pour, _ = cast(system, 2)
    found, client = told(pour), browser_of("technician", pour.order.site)
    page = words_of(client.get(f"/workbench/section/?{found.query}"))
    peak = float(re.search(r"Peaks at\s+([\d.]+)", page)[1])
    wide = float(re.search(r"A wide lift as deep: ([\d.]+) °C", page)[1])
    assert (round(peak), round(wide)) == (found.peak_c, found.wide_peak_c)


def test_clock_counts_the_edges_that_the_page_tells(system, browser_of):
    pour, cure = cast(system, 2)
    assert look(cure, cure.poured_at)
    cure.refresh_from_db()
    assert (cure.demould_due_at - cure.poured_at) / HOUR >= told(pour).edge_h
    page = browser_of("technician", pour.order.site).get(f"/pours/{pour.pk}/")
    assert edges_words(cure.edges) in words_of(page)


@pytest.mark.parametrize(("side", "sides"), [("insulated", "board"), ("metal", "metal")])
def test_mould_of_any_material_has_its_page(system, browser_of, side, sides):
    pour, _ = cast(system, 2)
    pour.tool_side = side
    pour.save()
    assert told(pour).sides == sides
    client = browser_of("technician", pour.order.site)
    assert client.get(f"/pours/{pour.pk}/").status_code == 200
    assert f"wall_side={sides}" in told(pour).query


def test_long_narrow_lift_is_as_wide_as_its_shorter_side(system):
    # 0.049 m2 on 600 x 100 mm: a fifth of the width is taken up by a pattern.
    pour, _ = cast(system, 5, length_mm=600, width_mm=100)
    found = told(pour)
    assert found.width_mm == 82
    assert "shape=long" in found.query


def test_narrowest_of_several_lifts_is_told(system):
    pour, cure = cast(system, 20)
    upper = make_cure(pour, number=2, poured_at=cure.poured_at + timedelta(hours=12))
    upper.lift.depth_mm, upper.lift.mass_kg = 60, 1
    upper.lift.save()
    assert told(pour).number == 2


def test_system_that_cannot_be_computed_says_nothing():
    pour, _ = cast(make_system(code="Q", kinetics=None), 1)
    assert told(pour) is None
