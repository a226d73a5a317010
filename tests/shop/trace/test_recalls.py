"""A recalled lot stays recalled, whatever arrives of it later, until the recall is lifted."""

from datetime import timedelta
from decimal import Decimal

import pytest

from shop.errors import LotHeld, Refused
from shop.ledger import actions as ledger
from shop.ledger.goods_in import Goods, Pack, receive_goods
from shop.lots import actions as lots
from shop.lots.models import Lot, LotStatus
from shop.models import Recall
from shop.recalls import actions as recalls
from tests.factories.shop import (
    NOW,
    make_container,
    make_lot,
    make_material,
    make_supplier,
    make_user,
)

pytestmark = pytest.mark.django_db


def deliver(site, material, code, supplier=None, key="later"):
    goods = [Goods(material, code, [Pack(Decimal(5))], supplier=supplier)]
    [received] = receive_goods(
        site=site, goods=goods, key=key, received_at=NOW + timedelta(days=1)
    )
    return received


@pytest.fixture
def gone(site):
    """A lot that was used up and finished."""
    lot = make_lot(site, code="R-77", expires_on=None, supplier=make_supplier())
    lots.finish(lot.pk)
    return lot


def recall(lot):
    return recalls.recall(lot_id=lot.pk, reason="maker's notice", at=NOW)


def test_recalling_a_finished_lot_holds_what_comes_of_it_later(site, gone):
    recall(gone)
    received = deliver(site, gone.material, "R-77", gone.supplier)
    assert received.lot.pk == gone.pk
    assert received.lot.status == LotStatus.HELD
    assert "recalled" in received.warnings[0]
    with pytest.raises(LotHeld):
        ledger.issue(
            container_id=received.containers[0].pk, quantity=Decimal(1), key="i",
            counterpart="batch:1", happened_at=NOW + timedelta(days=1),
        )  # fmt: skip


@pytest.mark.parametrize("code", ["R-77", "r-77"])
def test_what_comes_from_another_supplier_or_to_another_site_is_held_as_well(
    site, other_site, gone, code
):
    recall(gone)
    other = deliver(site, gone.material, code, make_supplier())
    far = deliver(other_site, gone.material, code, gone.supplier, key="far")
    assert other.lot.pk != gone.pk
    assert {other.lot.status, far.lot.status} == {LotStatus.HELD}


def test_what_other_sites_have_of_it_already_is_held(site, other_site, gone):
    far = make_lot(other_site, gone.material, code="r-77")
    recall(gone)
    far.refresh_from_db()
    assert far.status == LotStatus.HELD


def test_another_lot_or_another_material_of_that_code_is_not_held(site, gone):
    recall(gone)
    assert deliver(site, gone.material, "R-78", key="a").lot.status == LotStatus.RELEASED
    assert deliver(site, make_material(), "R-77", key="b").lot.status == LotStatus.RELEASED


def test_a_lot_that_was_never_here_can_be_recalled(site, api):
    material = make_material()
    body = {"material": str(material.pk), "lot_code": "Z-1", "site": site.code, "reason": "notice"}
    answer = api("quality").post("/api/v1/recalls", body)
    assert answer.status_code == 201, answer.data
    assert deliver(site, material, "z-1").lot.status == LotStatus.HELD


def test_a_recalled_lot_is_released_only_after_the_recall_is_lifted(site, gone):
    found = recall(gone)
    with pytest.raises(Refused, match=r"recalled.*Lift the recall first"):
        lots.release(gone.pk, reason="looks fine")
    with pytest.raises(Refused, match="held"):
        lots.finish(gone.pk)
    recalls.lift(found.pk, reason="maker withdrew it", at=NOW, by=make_user(site))
    gone.refresh_from_db()
    assert gone.status == LotStatus.HELD, "lifting releases nothing by itself"
    assert lots.release(gone.pk, reason="maker's letter").status == LotStatus.RELEASED
    with pytest.raises(Refused, match="lifted"):
        recalls.lift(found.pk, reason="again", at=NOW)


def test_a_finished_lot_that_is_held_stays_held_when_more_of_it_comes(site, gone):
    assert lots.hold([gone.pk], reason="cracks in two castings") == 1
    assert deliver(site, gone.material, "R-77", gone.supplier).lot.status == LotStatus.HELD


def test_a_second_recall_says_so_and_both_must_be_lifted(site, gone):
    one, two = recall(gone), recall(gone)
    recalls.lift(one.pk, reason="a mistake", at=NOW)
    with pytest.raises(Refused, match="Lift the recall"):
        lots.release(gone.pk, reason="looks fine")
    recalls.lift(two.pk, reason="a mistake", at=NOW)
    assert lots.release(gone.pk, reason="fine").status == LotStatus.RELEASED


def test_recall_and_lifting_by_rest_and_by_page(site, api, browser_of):
    lot = make_container(make_lot(site), holds=3).lot
    answer = api("quality").post("/api/v1/recalls", {"lot": str(lot.pk), "reason": "notice"})
    assert answer.status_code == 201, answer.data
    recall_id = answer.data["id"]
    listed = api("quality").get("/api/v1/recalls").data["items"]
    assert [(row["id"], row["lifted_at"]) for row in listed] == [(recall_id, None)]
    page = browser_of("quality").get(f"/stock/lots/{lot.pk}/").content.decode()
    assert "Recalled" in page
    assert "notice" in page
    lifting = f"/api/v1/recalls/{recall_id}/liftings"
    assert api("technician").post(lifting, {"reason": "x"}).status_code == 403
    assert api("quality").post(lifting, {"reason": ""}).status_code == 422
    again = recalls.recall(lot_id=lot.pk, reason="second notice", at=NOW)
    assert api("quality").post(lifting, {"reason": "withdrawn"}).status_code == 201
    browser_of("quality").post(f"/stock/lots/{lot.pk}/lift/", {"reason": "withdrawn"})
    again.refresh_from_db()
    assert again.lifted_at is not None
    assert Lot.objects.get(pk=lot.pk).status == LotStatus.HELD
    assert Recall.objects.filter(lifted_at=None).count() == 0
