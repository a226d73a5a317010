from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine

from shared.errors import Invalid
from shop.ledger import actions as ledger
from shop.proposals import actions
from shop.proposals.models import ProposalStatus, PurchaseProposal
from shop.purchasing.errors import NotAgreed
from shop.purchasing.models import OrderStatus, PurchaseOrder
from tests.factories.purchasing import make_need, make_order, make_pack
from tests.factories.shop import (
    NOW,
    make_container,
    make_lot,
    make_material,
    make_site,
    make_supplier,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


def short_site(quantity=8, days=14):
    site, pack = make_site(), make_pack()
    make_need(site, pack.material, days, quantity, "P1")
    return site, pack


def test_a_shortage_becomes_a_proposal_that_explains_itself():
    site, pack = short_site()
    (row,) = actions.work_out(site=site).proposals
    assert row.packs == [["5 kg can", 2]]
    assert (row.arrives_on, row.order_on) == (date(2026, 12, 9), date(2026, 12, 2))
    assert row.sentence.startswith(f"Order 2 × 5 kg can of {pack.material.name} (10 kg) from")
    assert "covers 8 kg for P1" in row.sentence
    assert "120.00" not in row.sentence
    assert row.money_sentence == "Goods 120.00 EUR."


def test_several_pours_are_pooled_and_what_is_on_order_is_not_bought_again():
    site, pack = short_site(8)
    make_need(site, pack.material, 15, 4, "P2")
    make_order(site, pack, packs=1, days=6)
    (row,) = actions.work_out(site=site).proposals
    assert row.packs == [["5 kg can", 2]]  # 12 needed, 5 on order
    assert [pour for pour, _ in row.covers] == ["P1", "P2"]


def test_a_second_run_takes_the_place_of_the_first():
    site, _ = short_site()
    actions.work_out(site=site)
    actions.work_out(site=site)
    assert PurchaseProposal.objects.count() == 1


def test_the_supplier_that_comes_in_time_is_chosen_over_a_cheaper_late_one():
    site, pack = short_site(days=10)
    slow = make_supplier(lead_time_days=30)
    make_pack(pack.material, slow, price=Decimal(20))
    (row,) = actions.work_out(site=site).proposals
    assert row.supplier == pack.supplier
    cheap = make_supplier(lead_time_days=8)
    make_pack(pack.material, cheap, price=Decimal(40))
    (row,) = actions.work_out(site=site).proposals
    assert row.supplier == cheap


def test_a_price_break_counts_packs():
    site, pack = short_site(quantity=18)
    make_pack(pack.material, pack.supplier, price=Decimal(45), from_packs=5)
    (row,) = actions.work_out(site=site).proposals
    assert row.packs == [["5 kg can", 5]]  # 225 for five, 240 for four
    (order,) = actions.approve(site=site, proposal_ids=[row.pk], by=None)
    assert order.lines.get().pack_price == 45


def test_nothing_is_bought_that_would_expire_before_its_pour():
    site, material = make_site(), make_material(shelf_life_months=2)
    pack = make_pack(material, make_supplier(order_cost=Decimal(500)))
    for days in (10, 20, 100):
        make_need(site, material, days, 5)
    rows = actions.work_out(site=site).proposals
    assert [row.packs for row in rows] == [[["5 kg can", 2]], [["5 kg can", 1]]]
    assert all(row.usable_until >= row.arrives_on + timedelta(days=28) for row in rows)
    assert pack.supplier == rows[0].supplier


def test_what_nobody_offers_is_said_by_name():
    site, material = make_site(), make_material()
    make_need(site, material, 5, 1)
    found = actions.work_out(site=site)
    assert (found.proposals, found.no_offer) == ((), (material,))


def test_usual_use_of_a_consumable_is_bought_ahead_with_safety_stock():
    site, material = make_site(), make_material(kind="release_agent")
    make_pack(material, name="1 kg can", content=Decimal(1))
    can = make_container(
        make_lot(site, material, expires_on=None), 40, came=NOW - timedelta(weeks=60)
    )
    for week in range(1, 25):
        ledger.issue(
            container_id=can.pk, quantity=Decimal(1 + week % 2), key=f"w{week}",
            counterpart="tool:1", happened_at=NOW - timedelta(weeks=week),
        )  # fmt: skip
    rows = actions.work_out(site=site).proposals
    covered = Counter()
    for row in rows:
        covered.update(dict(row.covers))
    # By hand: 36 kg in 26 weeks is 1.3846 kg a week, sd 0.6249 kg; 25 weeks of that and
    # 1.645 x 0.6249 kg of safety stock, less the 4 kg that are there.
    assert sum(covered.values()) == pytest.approx(25 * 36 / 26 + 1.0279 - 4, abs=1e-3)


def test_approved_proposals_of_one_supplier_become_one_order():
    site, supplier = make_site(), make_supplier()
    packs = [make_pack(supplier=supplier), make_pack(supplier=supplier)]
    for pack in packs:
        make_need(site, pack.material, 14, 4)
    rows = actions.work_out(site=site).proposals
    (order,) = actions.approve(site=site, proposal_ids=[row.pk for row in rows], by=None)
    assert (order.status, order.lines.count()) == (OrderStatus.APPROVED, 2)
    assert set(order.proposals.values_list("status", flat=True)) == {ProposalStatus.APPROVED}
    assert actions.work_out(site=site).proposals == ()  # it counts as coming
    make_need(site, packs[0].material, 20, 9)
    (more,) = actions.work_out(site=site).proposals
    actions.approve(site=site, proposal_ids=[more.pk], by=None)
    assert PurchaseOrder.objects.count() == 1


def test_a_proposal_is_decided_once_and_by_its_own_site():
    site, _ = short_site()
    (row,) = actions.work_out(site=site).proposals
    with pytest.raises(NotAgreed, match="was decided, or worked out anew"):
        actions.approve(site=make_site(), proposal_ids=[row.pk], by=None)
    actions.refuse(site=site, proposal_ids=[row.pk], reason="customer brings it", by=None)
    with pytest.raises(NotAgreed):
        actions.approve(site=site, proposal_ids=[row.pk], by=None)
    assert PurchaseOrder.objects.count() == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda site: actions.work_out(site=site, days=3), "days is 3 d; give 7 to 730 d"),
        (lambda site: actions.approve(site=site, proposal_ids=[], by=None), "proposals is empty"),
        (
            lambda site: actions.refuse(site=site, proposal_ids=[1], reason=" ", by=None),
            "reason is empty",
        ),
    ],
)
def test_bad_input_is_refused_with_its_value(call, words):
    with pytest.raises(Invalid, match=words):
        call(make_site())


def test_a_material_that_cannot_be_had_is_told_and_the_others_go_on():
    site, closed = make_site(), make_supplier()
    # It could deliver before it closes, but what comes then has expired before the pour.
    closed.closures.create(first_day=date(2026, 12, 20), last_day=date(2027, 2, 20))
    short_lived = make_material(shelf_life_months=1)
    make_pack(short_lived, closed)
    make_need(site, short_lived, 80, 4, "P1")
    pack = make_pack()
    make_need(site, pack.material, 14, 4, "P2")
    found = actions.work_out(site=site)
    assert [row.material for row in found.proposals] == [pack.material]
    ((material, why),) = found.impossible
    assert material == short_lived
    assert "goods keep" in why
    assert "is closed on all of" in why


def test_an_order_reaches_the_least_value_that_its_supplier_takes():
    site = make_site()
    pack = make_pack(supplier=make_supplier(least_order=Decimal(500)))
    make_need(site, pack.material, 14, 8, "P1")
    (row,) = actions.work_out(site=site).proposals
    assert row.goods_cost == 540  # nine cans at 60; eight would be refused


def test_prices_in_two_currencies_are_not_compared_as_bare_numbers():
    site, pack = short_site()
    foreign = make_supplier(currency="JPY", lead_time_days=pack.supplier.lead_time_days)
    make_pack(pack.material, foreign, price=Decimal(50))
    (row,) = actions.work_out(site=site).proposals
    assert (row.supplier, row.currency) == (pack.supplier, "EUR")
    assert f"Not compared with {foreign.name} (JPY)" in row.money_sentence
