"""What the shop tells others: once, in the transaction of what happened."""

from datetime import timedelta

import pytest
import time_machine

from shared.events.models import Event
from shop import foreseen
from shop.lots import actions as lots
from shop.models import Requirement
from shop.proposals import actions as proposals
from shop.purchasing import actions as purchasing
from tests.factories.purchasing import make_need, make_pack, new_line
from tests.factories.shop import NOW, make_container, make_lot, make_site

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


def kinds(**only):
    return list(Event.objects.filter(**only).order_by("pk").values_list("kind", flat=True))


def test_a_shortage_is_told_once_and_again_when_it_is_over():
    site, pack = make_site(), make_pack()
    make_need(site, pack.material, 14, 8, "P1")
    assert foreseen.tell(site=site) == 1
    assert foreseen.tell(site=site) == 0
    told = Event.objects.get()
    assert told.payload["material"] == pack.material.code
    assert told.payload["new"] == {
        "short_on": (NOW.date() + timedelta(days=14)).isoformat(),
        "quantity": "8.0000",
    }
    Requirement.objects.all().delete()
    assert foreseen.tell(site=site) == 1
    assert kinds() == ["stock.shortage_foreseen", "stock.shortage_cleared"]


def test_numbers_of_a_material_are_each_sites_own():
    pack = make_pack()
    for site in (make_site(), make_site()):
        make_need(site, pack.material, 14, 8, "P1")
        foreseen.tell(site=site)
    assert set(Event.objects.values_list("sequence", flat=True)) == {1}


def test_a_lot_that_soon_expires_is_told_once():
    site = make_site()
    lot = make_lot(site, expires_on=NOW.date() + timedelta(days=9))
    make_container(lot, holds=5)
    assert foreseen.tell(site=site) == 1
    assert foreseen.tell(site=site) == 0
    assert kinds(object_kind="lot", object_id=lot.pk) == ["lot.expiring"]


def test_a_hold_is_told_with_its_reason_and_no_second_time():
    lot = make_lot()
    lots.hold([lot.pk], reason="cloudy")
    lots.hold([lot.pk], reason="cloudy")
    assert kinds() == ["lot.held"]
    assert Event.objects.get().reason == "cloudy"


def test_proposals_are_told_when_they_differ():
    site, pack = make_site(), make_pack()
    make_need(site, pack.material, 14, 8, "P1")
    proposals.work_out(site=site)
    proposals.work_out(site=site)
    assert kinds() == ["purchase.proposed"]
    assert Event.objects.get().payload["new"]["orders"][0]["quantity"] == "10"
    assert "120.00" not in str(Event.objects.get().payload)
    make_need(site, pack.material, 15, 8, "P2")
    rows = proposals.work_out(site=site).proposals
    assert kinds() == ["purchase.proposed"] * 2
    proposals.approve(site=site, proposal_ids=[row.pk for row in rows], by=None)
    told = Event.objects.get(kind="purchase.approved").payload
    assert told["new"]["lines"][0]["material"] == pack.material.code


def test_an_approved_order_is_told():
    site = make_site()
    pack = make_pack()
    order = purchasing.draft(site=site, supplier=pack.supplier, lines=[new_line(pack)], by=None)
    assert kinds() == []
    purchasing.approve(order=order, by=None)
    assert kinds(object_kind="purchase_order", object_id=order.pk) == ["purchase.approved"]
