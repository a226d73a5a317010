"""Goods between sites: nothing is lost, shelf life and recalls go along."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from shared.errors import Invalid
from shop.consignments.actions import Came, ConsignmentEnded, receive, send, take_back
from shop.errors import LotHeld, NotEnoughStock
from shop.ledger import actions as ledger
from shop.ledger.audit import differences
from shop.ledger.booking import split
from shop.ledger.mixing import mix
from shop.ledger.posting import OnTheWay
from shop.ledger.queries import stock_levels
from shop.ledger.reservations import reserve
from shop.lots.actions import open_container
from shop.lots.models import Container, Lot
from shop.lots.queries import containers
from shop.outlook import queries as outlook
from shop.proposals.actions import work_out
from shop.recalls import actions as recalls
from shop.trace.queries import lot_trace, tool_trace, touched_lots
from tests.factories.purchasing import make_need, make_pack
from tests.factories.shop import (
    NOW,
    make_container,
    make_location,
    make_lot,
    make_material,
    make_tool,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
D, DAY = Decimal, timedelta(days=1)
NOON = NOW + timedelta(hours=3)
"""The present of these tests: what is sent and comes, does so now."""


@pytest.fixture
def can(site):
    lot = make_lot(site, make_material(name="Resin", open_life_days=30), unit_cost=4)
    return make_container(lot, holds=10)


def sent(can, to, quantity=4, key="s", **values):
    return send(site=can.lot.site, to_site=to, goods=[(can, D(quantity))], key=key, **values)


def came(made, quantity, key="r", **values):
    line = made.lines.get()
    got = [Came(line, D(quantity), values.pop("location", None))] if quantity else []
    return receive(arrival=made.arrival, came=got, key=key, **values)


def total(material):
    return sum(Container.objects.filter(lot__material=material).values_list("balance", flat=True))


def test_what_is_sent_is_on_the_way_and_then_there_with_its_shelf_life(can, other_site):
    shelf, material = make_location(other_site), can.lot.material
    open_container(can.pk, at=NOW - 3 * DAY)
    made = sent(can, other_site)
    assert sent(can, other_site) == made  # a repeat
    can.refresh_from_db()
    assert (can.balance, total(material)) == (6, 10)
    assert differences() == []
    assert came(made, 4, location=shelf).status == "received"
    assert came(made, 4, location=shelf).status == "received"  # a repeat
    there = Lot.objects.get(site=other_site)
    got = there.containers.get()
    assert (got.balance, got.location, got.opened_at) == (4, shelf, NOW - 3 * DAY)
    assert (there.code, there.expires_on, there.unit_cost, there.status) == (
        can.lot.code, can.lot.expires_on, D(4), "released",
    )  # fmt: skip
    assert total(material) == 10
    assert differences() == []


def test_nobody_takes_or_counts_on_what_is_on_the_way(can, site, other_site):
    made = sent(can, other_site)
    transit = made.lines.get().transit
    for take in (
        lambda: ledger.issue(container_id=transit.pk, quantity=D(1), key="i",
                             counterpart="other:use", happened_at=NOW),
        lambda: ledger.take_out(kind="scrap", container_id=transit.pk, quantity=D(1), key="t",
                                counterpart="waste", happened_at=NOW),
        lambda: split(container=transit, quantity=D(1), key="p", by=None),
        lambda: ledger.reverse(key_of_original=f"consignment:{made.pk}:0", key="u",
                               reason="no", happened_at=NOON),
    ):  # fmt: skip
        with pytest.raises(OnTheWay, match="is on its way to another site"):
            take()
    assert [c.id for c in containers(site.pk, [can.lot.material_id])] == [can.pk]
    [level] = [row for row in stock_levels(site, NOW) if row.total]
    assert (level.total, level.usable) == (6, 6)
    [row] = outlook.rows(site)
    assert row.outlook.projected[0] == 6
    assert differences() == []


def ahead(site, day):
    [row] = outlook.rows(site)
    [alone] = outlook.rows(site, material_ids=[row.material.pk])
    assert alone.outlook.projected == row.outlook.projected
    return row.outlook.projected[day], row.outlook.due_in


class TestTheReceivingSiteCountsOnIt:
    def test_from_the_day_it_is_expected_on_and_only_once(self, can, site, other_site):
        made = sent(can, other_site, due_on=date(2026, 11, 28))
        assert [ahead(other_site, day)[0] for day in (0, 2, 3)] == [0, 0, 4]
        assert ahead(site, 3)[0] == 6
        came(made, 1)
        assert [ahead(other_site, day) for day in (0, 3)] == [(1, 3), (4, 3)]
        take_back(consignment=made)
        assert ahead(other_site, 3) == (1, 0)

    def test_without_a_day_it_is_expected_the_day_after_and_late_it_counts_today(
        self, can, other_site, frozen
    ):
        made = sent(can, other_site)
        assert [ahead(other_site, day)[0] for day in (0, 1)] == [0, 4]
        assert str(made.expected_on) == "2026-11-26"
        frozen.move_to(NOW + 9 * DAY)
        assert ahead(other_site, 0)[0] == 4

    @pytest.mark.parametrize("state", ["held", "quarantine"])
    def test_what_is_stopped_here_or_there_is_not_counted_on(self, can, other_site, state):
        sent(can, other_site)
        Lot.objects.filter(pk=can.lot_id).update(status=state)
        assert outlook.rows(other_site) == ()
        Lot.objects.filter(pk=can.lot_id).update(status="released")
        make_container(
            make_lot(other_site, can.lot.material, code=can.lot.code.lower(), status=state),
            holds=1,
        )
        assert ahead(other_site, 5) == (0, 0)

    def test_it_expires_as_it_will_once_it_has_come(self, can, other_site):
        open_container(can.pk, at=NOW - 27 * DAY)  # open life of 30 days
        sent(can, other_site)
        assert [ahead(other_site, day)[0] for day in (2, 3)] == [4, 0]
        twin = make_lot(other_site, can.lot.material, code=can.lot.code.lower(),
                        expires_on=date(2026, 11, 27))  # fmt: skip
        make_container(twin, holds=1)
        assert [ahead(other_site, day)[0] for day in (1, 2)] == [5, 0]

    def test_a_proposal_buys_only_what_it_does_not_bring(self, can, other_site):
        make_pack(can.lot.material)
        make_need(other_site, can.lot.material, 10, 12, "P1")
        [before] = work_out(site=other_site).proposals
        sent(can, other_site)
        [after] = work_out(site=other_site).proposals
        assert (before.packs, after.packs) == ([["5 kg can", 3]], [["5 kg can", 2]])

    def test_call_and_page_name_it(self, api, browser_of, can, other_site):
        made = sent(can, other_site)
        told = api("purchasing", other_site).get("/api/v1/outlook").data["items"]
        assert [float(row["receipts"]) for row in told] == [4]
        where = reverse("outlook-material", args=[can.lot.material_id])
        page = browser_of("purchasing", other_site).get(where).content.decode()
        assert f"{made}: 4.000\xa0kg, expected Thu 26 Nov" in page

    @pytest.mark.parametrize("day", [date(2026, 11, 24), date(2028, 1, 1)])
    def test_a_day_that_makes_no_sense_is_refused(self, can, other_site, day):
        with pytest.raises(Invalid, match="; give a day from 2026-11-25 to 2027-11-25"):
            sent(can, other_site, due_on=day)


def test_only_what_is_free_is_sent(can, other_site):
    reserve(container_id=can.pk, quantity=D(7), purpose="batch:1:1", needed_at=NOW + DAY)
    with pytest.raises(NotEnoughStock, match="At most 3 kg can be taken"):
        sent(can, other_site)
    assert not Container.objects.exclude(pk=can.pk).exists()
    sent(can, other_site, 3)
    can.refresh_from_db()
    assert (can.balance, can.reserved) == (7, 7)


def test_it_comes_in_parts_and_short_with_a_reason(can, other_site):
    made = sent(can, other_site)
    assert came(made, 1, "a").status == "sent"
    with pytest.raises(Invalid, match="3 kg of it is on the way"):
        came(made, "3.1", "b")
    with pytest.raises(Invalid, match="say why it is short"):
        came(made, 0, "c", short=True)
    assert came(made, 2, "d", short=True, words="a can leaked").status == "short"
    assert made.lines.get().lost == 1
    with pytest.raises(ConsignmentEnded, match="received short"):
        came(made, 1, "e")
    assert total(can.lot.material) == 9
    lost = [row for row in lot_trace(can.lot).lost if row.counterpart == "lost-on-the-way"]
    assert [row.quantity for row in lost] == [1]
    assert differences() == []


def test_what_is_still_on_the_way_is_taken_back(can, other_site):
    made = sent(can, other_site)
    came(made, 1)
    assert take_back(consignment=made).status == "returned"
    can.refresh_from_db()
    assert can.balance == 9
    with pytest.raises(ConsignmentEnded):
        take_back(consignment=made)
    assert differences() == []


class TestStateGoesAlong:
    def test_a_lot_recalled_on_the_way_is_held_where_it_comes(self, can, other_site):
        made = sent(can, other_site)
        recalls.recall(lot_id=can.lot_id, reason="cracks", at=NOW)
        came(made, 4)
        there = Lot.objects.get(site=other_site)
        assert (there.status, there.status_reason) == ("held", "recalled: cracks")
        with pytest.raises(LotHeld):
            ledger.issue(container_id=there.containers.get().pk, quantity=D(1), key="i",
                         counterpart="other:use", happened_at=NOW)  # fmt: skip

    def test_a_recall_after_it_came_finds_it_and_what_it_met_there(self, can, other_site):
        came(sent(can, other_site), 4)
        there = Lot.objects.get(site=other_site)
        tool = make_tool(other_site)
        beside = make_container(make_lot(other_site), holds=1)
        for one in (there.containers.get(), beside):
            ledger.issue(container_id=one.pk, quantity=D(1), key=f"i{one.pk}",
                         counterpart=f"tool:{tool.pk}", happened_at=NOON)  # fmt: skip
        assert {can.lot, there} <= set(tool_trace(tool).lots)
        assert lot_trace(there).tools == (tool,)
        assert {lot.pk for lot in touched_lots(can.lot)} == {can.lot_id, there.pk, beside.lot_id}
        recalls.recall(lot_id=can.lot_id, reason="cracks", at=NOW)
        assert set(Lot.objects.values_list("status", flat=True)) == {"held"}

    @pytest.mark.parametrize("state", ["held", "quarantine"])
    def test_a_stopped_lot_is_stopped_there_also_where_it_was_free(self, can, other_site, state):
        made = sent(can, other_site)
        came(made, 1, "a")
        Lot.objects.filter(pk=can.lot_id).update(status=state)
        came(made, 3, "b")
        assert Lot.objects.get(site=other_site).status == state

    def test_of_two_dates_of_one_lot_the_earlier_holds(self, can, other_site):
        twin = make_lot(other_site, can.lot.material, code=can.lot.code.lower(),
                        expires_on=date(2026, 12, 24), unit_cost=2)  # fmt: skip
        make_container(twin, holds=4)
        came(sent(can, other_site), 4)
        twin.refresh_from_db()
        assert (twin.expires_on, twin.unit_cost) == (date(2026, 12, 24), D(3))
        assert Lot.objects.filter(site=other_site).count() == 1

    def test_a_mixed_lot_is_not_taken_for_another_mixture_of_that_name(self, can, other_site):
        site = can.lot.site
        other = make_container(make_lot(site, can.lot.material), holds=2)
        mixed = mix(parts=[(can.pk, D(1)), (other.pk, D(1))], key="m", at=NOW)
        make_lot(other_site, can.lot.material, code=mixed.lot.code, mixed=True)
        came(sent(mixed, other_site, 2), 2)
        there = Lot.objects.get(site=other_site, containers__isnull=False)
        assert there.code == f"{mixed.lot.code}@{site.code}"
        assert there.mixed
        recalls.recall(lot_id=other.lot_id, reason="cracks", at=NOW)
        there.refresh_from_db()
        assert there.status == "held"


def test_what_makes_no_sense_is_refused_by_its_field(can, site, other_site):
    strange = make_container(make_lot(other_site), holds=1)
    for to, goods, words in (
        (site, [(can, D(1))], "name another site"),
        (other_site, [], "give 1 to 50"),
        (other_site, [(can, D(1)), (can, D(1))], "stands twice"),
        (other_site, [(strange, D(1))], "stands at another site"),
        (other_site, [(can, D(0))], "must be a number above 0"),
    ):
        with pytest.raises(Invalid, match=words):
            send(site=site, to_site=to, goods=goods, key=f"x{words}")
    made = sent(can, other_site)
    with pytest.raises(Invalid, match="it is at another site"):
        came(made, 1, location=make_location(site))
    with pytest.raises(Invalid, match="lines is empty"):
        came(made, 0)


def test_it_goes_by_rest_each_site_by_its_own_right(api, can, site, other_site):
    client = api("technician")
    body = {"site": site.code, "to_site": other_site.code,
            "goods": [{"container": str(can.pk), "quantity": "4.0000"}]}  # fmt: skip
    made = client.post("/api/v1/consignments", body)
    assert made.status_code == 201, made.data
    assert (made.data["status"], made.data["lines"][0]["on_the_way"]) == ("sent", "4.0000")
    assert client.get("/api/v1/arrivals").data["items"] == []
    there = api("technician", other_site)
    [arrival] = there.get("/api/v1/arrivals").data["items"]
    assert there.get(f"/api/v1/consignments/{made.data['id']}").status_code == 404
    line = arrival["lines"][0]["id"]
    where = f"/api/v1/arrivals/{arrival['id']}/receipts"
    assert client.post(where, {"lines": []}).status_code == 404
    got = there.post(where, {"lines": [{"line": line, "quantity": "3.0000"}]})
    assert got.status_code == 201, got.data
    assert got.data["lines"][0]["on_the_way"] == "1.0000"
    back = client.post(f"/api/v1/consignments/{made.data['id']}/returns", {})
    assert back.data["status"] == "returned"
    again = there.post(where, {"lines": [{"line": line, "quantity": "1.0000"}]})
    assert (again.status_code, again.data["code"]) == (409, "consignment_ended")


def test_it_goes_by_page(browser_of, can, site, other_site):
    page = browser_of("technician")
    page.post("/stock/consignments/send/", {
        "key": "k", "to_site": str(other_site.pk), "can1": can.code, "much1": "4",
    })  # fmt: skip
    made = Container.objects.get(consignment__isnull=False).consignment
    assert str(made) in page.get("/stock/consignments/").content.decode()
    assert "On the way" in page.get(f"/stock/consignments/{made.pk}/").content.decode()
    assert page.get(f"/stock/arrivals/{made.arrival.pk}/").status_code == 404
    page.post(f"/stock/consignments/{made.pk}/back/")
    assert "Taken back" in page.get(f"/stock/consignments/{made.pk}/").content.decode()
