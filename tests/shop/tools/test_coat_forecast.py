"""Release agent foreseen from the pace of tools: by hand, in outlook and proposals."""

from datetime import timedelta
from decimal import Decimal

import pytest

from shop.outlook import queries as outlook
from shop.proposals.actions import work_out
from shop.tools.actions import add_event
from shop.tools.coat_forecast import FORECAST_DAYS, forecast
from shop.tools.face import Coat
from tests.factories.purchasing import make_pack
from tests.factories.shop import (
    NOW,
    make_container,
    make_lot,
    make_material,
    make_recipe,
    make_tool,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
DAY, TODAY, D = timedelta(days=1), NOW.date(), Decimal


@pytest.fixture
def wax():
    return make_material(kind="release_agent", name="Wax", use_per_m2=D("0.02"))


def coated(site, wax, *, days_ago=10, shots=10, **recipe):
    """A tool coated some days ago that did so many shots since, one a day on average."""
    rules = {"material": wax, "coats": 4, "recoat_coats": 1, "shots_per_coat": 20} | recipe
    tool = make_tool(site, release_recipe=make_recipe(**rules), face_m2=D("0.5"))
    at = NOW - days_ago * DAY
    add_event(tool_id=tool.pk, kind="coat", key=f"c{tool.pk}", at=at, coat=Coat(4))
    add_event(tool_id=tool.pk, kind="shots", key=f"s{tool.pk}", at=at + DAY, shots=shots)
    return tool


def test_recoats_follow_one_another_at_the_present_pace_by_the_area(site, wax):
    tool = coated(site, wax)  # ten shots in ten days: one a day, ten left on these coats
    found = forecast(site, TODAY, 60)
    assert [(n.tool, n.day, n.work) for n in found.needs] == [
        (tool, TODAY + n * DAY, "re-coat") for n in (10, 30, 50)
    ]
    assert [n.quantity for n in found.needs] == [pytest.approx(0.01)] * 3
    assert found.unknown == ()


def test_old_wax_comes_off_and_the_whole_build_up_is_counted(site, wax):
    sealer = make_material(kind="sealer", use_per_m2=D("0.1"))
    tool = coated(site, wax, strip_after=1)
    tool.release_recipe.sealer = sealer
    tool.release_recipe.save()
    add_event(tool_id=tool.pk, kind="seal", key="seal", at=NOW - 11 * DAY)
    found = forecast(site, TODAY, 60)
    assert [(n.work, n.material_id == sealer.pk, round(n.quantity, 4)) for n in found.needs] == [
        ("re-coat", False, 0.01), ("strip", False, 0.04), ("strip", True, 0.05),
        ("re-coat", False, 0.01),
    ]  # fmt: skip


def test_what_earlier_coats_took_holds_over_the_area(site, wax):
    tool = coated(site, wax)
    can = make_container(make_lot(site, wax), holds=5)
    event = add_event(tool_id=tool.pk, kind="coat", key="k", at=NOW, coat=Coat(2, can, D("0.3")))
    assert event.coats == 2
    needs = forecast(site, TODAY).needs
    assert needs
    assert all(need.quantity == pytest.approx(0.15) for need in needs)


def test_a_tool_without_area_or_record_is_named_and_nothing_is_made_up(site, wax):
    tool = coated(site, wax)
    tool.face_m2 = None
    tool.save()
    found = forecast(site, TODAY)
    assert (found.needs, found.unknown) == ((), (tool,))


def test_a_tool_that_stands_is_coated_by_days_alone(site, wax):
    coated(site, wax, days_ago=100, days_per_coat=90, shots_per_coat=None)
    days = [n.day for n in forecast(site, TODAY).needs]
    assert days == [TODAY, TODAY + 90 * DAY, TODAY + 180 * DAY]
    assert TODAY + 180 * DAY <= TODAY + FORECAST_DAYS * DAY


def test_the_outlook_counts_it_and_a_proposal_covers_it(site, wax):
    tool = coated(site, wax)
    make_pack(wax, content=D(1), name="1 kg can")
    [row] = outlook.rows(site, days=60)
    assert row.wanted == pytest.approx(0.03)
    assert row.first_short_on == TODAY + 10 * DAY
    [alone] = outlook.rows(site, days=60, material_ids=[wax.pk])
    assert alone.outlook.short_pours[0].pour == f"coats on {tool.code}"
    [proposal] = work_out(site=site, days=60).proposals
    assert proposal.material == wax
    assert f"coats on {tool.code}" in {name for name, _ in proposal.covers}


def test_many_tools_ask_as_often_as_one(site, wax, queries):
    coated(site, wax)
    one = queries(lambda: forecast(site, TODAY))
    coated(site, wax)
    coated(site, wax)
    assert queries(lambda: forecast(site, TODAY)) == one
