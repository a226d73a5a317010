"""A can with several lots in it is as old as the oldest, and each lot is found in it."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from shared.errors import Invalid
from shop.errors import LotHeld, Refused
from shop.ledger import actions
from shop.ledger.audit import differences
from shop.ledger.mixing import mix
from shop.lots import actions as lots
from shop.lots.queries import clocks
from shop.models import Lot
from shop.recalls.actions import recall
from shop.trace import queries
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_tool

pytestmark = pytest.mark.django_db


@pytest.fixture
def material():
    return make_material(open_life_days=30)


@pytest.fixture
def cans(site, material):
    """An old lot opened 20 days ago, a younger one still sealed."""
    old = make_lot(site, material, code="OLD", expires_on=date(2026, 12, 10))
    young = make_lot(site, material, code="YOUNG", expires_on=date(2027, 6, 30))
    first = make_container(old, holds=10)
    lots.open_container(first.pk, at=NOW - timedelta(days=20))
    return first, make_container(young, holds=10)


def mixed(cans, key="m", **more):
    parts = [(can.pk, Decimal(4)) for can in cans]
    return mix(parts=parts, key=key, at=NOW, **more)


def test_it_takes_the_earliest_of_all_dates_and_the_sums_are_kept(cans):
    can = mixed(cans)
    assert (can.balance, can.lot.expires_on, can.lot.mixed) == (8, date(2026, 12, 10), True)
    assert clocks(can).until == (NOW + timedelta(days=10)).date(), "open life of the first part"
    assert mixed(cans).pk == can.pk, "a repeat is the same can"
    assert differences() == []


def test_filled_up_it_takes_an_earlier_date_along(site, material, cans):
    can = mixed(cans)
    older = make_container(make_lot(site, material, expires_on=date(2026, 11, 28)), holds=2)
    again = mix(parts=[(older.pk, Decimal(1))], key="up", at=NOW, into=can)
    assert (again.pk, again.balance, again.lot.expires_on) == (can.pk, 9, date(2026, 11, 28))


def test_a_part_whose_expiry_is_put_right_brings_the_mixture_forward(cans):
    can = mixed(cans)
    lots.correct_expiry(cans[1].lot_id, expires_on=date(2026, 11, 30), reason="read", now=NOW)
    can.lot.refresh_from_db()
    assert can.lot.expires_on == date(2026, 11, 30)
    assert "YOUNG" in can.lot.expiry_note


def test_holding_or_recalling_a_part_holds_the_mixture_and_what_was_cast_with_it(site, cans):
    can = mixed(cans)
    again = mix(parts=[(can.pk, Decimal(2)), (cans[1].pk, Decimal(1))], key="n", at=NOW)
    met = make_container(make_lot(site, code="HARD"), holds=5)
    tool = make_tool(site)
    for n, one in enumerate((again, met)):
        actions.issue(
            container_id=one.pk, quantity=Decimal(1), key=f"i{n}",
            counterpart=f"tool:{tool.pk}", happened_at=NOW,
        )  # fmt: skip
    trace = queries.lot_trace(cans[0].lot)
    assert [lot.pk for lot in trace.mixed_into] == [can.lot_id, again.lot_id]
    assert list(trace.tools) == [tool]
    back = {lot.code for lot in queries.tool_trace(tool).lots}
    assert back == {"OLD", "YOUNG", "HARD", can.lot.code, again.lot.code}
    recall(lot_id=cans[0].lot_id, reason="notice", at=NOW)
    assert set(Lot.objects.filter(status="held")) == {
        cans[0].lot, cans[1].lot, met.lot, can.lot, again.lot
    }  # fmt: skip
    with pytest.raises(Refused, match="recalled"):
        lots.release(again.lot_id, reason="fine")


def test_a_mixture_that_was_undone_holds_nothing(cans):
    can = mixed(cans)
    actions.reverse(key_of_original="m:0", key="r", reason="other can", happened_at=NOW)
    assert queries.lot_trace(cans[0].lot).mixed_into == ()
    assert queries.lot_trace(can.lot).mixed_from == (cans[1].lot,)
    assert differences() == []


def test_what_may_not_be_used_or_is_another_material_is_not_mixed_in(site, material, cans):
    other = make_container(make_lot(site), holds=5)
    with pytest.raises(Invalid, match="only one material"):
        mixed([cans[0], other])
    with pytest.raises(Invalid, match="split a container"):
        mixed([cans[0], make_container(cans[0].lot, holds=5)])
    with pytest.raises(Refused, match="name it among the parts"):
        mixed([cans[0]], into=cans[1])
    lots.hold([cans[1].lot_id], reason="cracks")
    with pytest.raises(LotHeld):
        mixed(cans)


def test_by_rest_and_by_page(site, api, browser_of, frozen, cans):
    kg = lambda value: {"value": value, "unit": "kg"}  # noqa: E731
    parts = [{"container": str(can.pk), "quantity": kg("2")} for can in cans]
    answer = api("technician").post("/api/v1/mixes", {"parts": parts})
    assert answer.status_code == 201, answer.data
    assert answer.data["expires_on"] == "2026-12-10"
    form = {
        "container": cans[1].pk, "quantity": "1", "other": answer.data["code"], "key": "page-1"
    }  # fmt: skip
    browser_of("technician").post(f"/stock/lots/{cans[1].lot_id}/mix/", form)
    seen = api("quality").get("/api/v1/trace", {"lot": cans[1].lot_id}).data
    assert [row["code"] for row in seen["mixed_into"]] == [answer.data["lot_code"]]
    [left] = [row for row in seen["left"] if row["code"] == answer.data["code"]]
    assert left["balance"]["value"] == "5.0000"
    page = browser_of("quality").get(f"/trace/?lot={cans[1].lot_id}").content.decode()
    assert answer.data["lot_code"] in page
