from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from shared.errors import Invalid
from shop.errors import KeyReused
from shop.ledger.goods_in import Goods, Pack, receive_goods
from shop.ledger.models import Movement, Requirement
from shop.lots.models import Container, Lot
from tests.factories.shop import (
    NOW,
    make_location,
    make_lot,
    make_material,
    make_site,
    make_supplier,
)

pytestmark = pytest.mark.django_db

LATER = date(2027, 6, 30)


def goods(material=None, *quantities, **values):
    usual = {"lot_code": "LOT-7A", "expires_on": LATER}
    packs = [Pack(Decimal(q)) for q in quantities or (25,)]
    return Goods(material or make_material(), containers=packs, **usual | values)


def take(site, *lots, key="delivery-1", received_at=NOW):
    return receive_goods(site=site, goods=lots, key=key, received_at=received_at)


def test_a_delivery_of_two_lots_makes_lots_containers_and_receipts():
    site, resin, hardener = make_site(), make_material(), make_material(kind="hardener")
    shelf = make_location(site)
    can = Goods(hardener, "H-1", [Pack(Decimal(3), shelf)], expires_on=LATER)
    one, two = take(site, goods(resin, 25, 25), can)
    assert [c.code for c in one.containers] == ["LOT-7A/1", "LOT-7A/2"]
    assert [c.balance for c in one.containers] == [25, 25]
    assert (one.lot.status, one.lot.expires_on, one.expiry_from) == ("released", LATER, "label")
    assert two.containers[0].placements.get().location == shelf
    assert Movement.objects.filter(kind="receipt").count() == 3


def test_a_repeat_returns_the_first_and_another_delivery_needs_another_key():
    site, resin = make_site(), make_material()
    first = take(site, goods(resin, 25, 25))
    again = take(site, goods(resin, 25, 25))
    assert [r.lot for r in again] == [r.lot for r in first]
    assert Container.objects.count() == 2
    with pytest.raises(KeyReused):
        take(site, goods(resin, 25))


def test_more_of_a_lot_joins_it_and_a_different_label_is_asked_about():
    site, resin = make_site(), make_material()
    take(site, goods(resin, 25))
    [more] = take(site, goods(resin, 20), key="delivery-2")
    assert [c.code for c in more.containers] == ["LOT-7A/2"]
    with pytest.raises(Invalid, match="received before with expiry 2027-06-30, now 2027-07-01"):
        take(site, goods(resin, 20, expires_on=LATER + timedelta(days=1)), key="delivery-3")


def test_the_same_label_code_at_another_lot_gets_a_number_that_is_free():
    make_lot(code="LOT-7A").containers.create(code="LOT-7A/1")
    [received] = take(make_site(), goods())
    assert received.containers[0].code == f"LOT-7A/{received.lot.pk}.1"


@pytest.mark.parametrize(
    ("label", "made", "expires", "clock"),
    [
        pytest.param(LATER, None, LATER, "label", id="the label alone"),
        pytest.param(None, date(2026, 10, 31), date(2027, 4, 30), "shelf life", id="shelf life"),
        pytest.param(LATER, date(2026, 10, 1), date(2027, 4, 1), "shelf life", id="the stricter"),
    ],
)
def test_expiry_from_label_or_shelf_life(label, made, expires, clock):
    material = make_material(shelf_life_months=6)
    [received] = take(make_site(), goods(material, expires_on=label, made_on=made))
    assert (received.lot.expires_on, received.expiry_from) == (expires, clock)


def test_a_material_that_is_checked_on_receipt_waits_in_quarantine():
    [received] = take(make_site(), goods(make_material(check_on_receipt=True)))
    assert received.lot.status == "quarantine"


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"expires_on": date(2026, 11, 24)}, "usable until 2026-11-24, received on 2026-11-25"),
        ({"expires_on": None}, "give expires_on from the label, or made_on"),
        ({"made_on": date(2026, 11, 26)}, "made_on is 2026-11-26; it must not be after"),
        ({"made_on": date(2026, 11, 1), "expires_on": date(2026, 10, 1)}, "before made_on"),
        ({"containers": []}, "containers has 0 entries; give 1 to 500"),
        ({"containers": [Pack(Decimal(0))]}, "quantity is 0; it must be a number above 0"),
    ],
)
def test_faulty_goods_are_refused_and_nothing_is_taken_in(values, words):
    material = make_material(shelf_life_months=6)
    good = goods(make_material())
    usual = {"lot_code": "X", "expires_on": LATER, "containers": [Pack(Decimal(1))]}
    bad = Goods(material, **usual | values)
    with pytest.raises(Invalid, match=words) as refused:
        take(make_site(), good, bad)
    assert refused.value.problems[0].pointer.startswith("#/goods/1/")
    assert not Lot.objects.exists()


def test_short_dated_goods_say_what_the_plan_can_still_use():
    site, resin = make_site(), make_material(shelf_life_months=12)
    for days, quantity in ((10, 8), (200, 50)):
        Requirement.objects.create(
            site=site, material=resin, source="plan:1", label="pours",
            quantity=quantity, needed_at=NOW + timedelta(days=days),
        )  # fmt: skip
    [fine] = take(site, goods(resin, 25, lot_code="A", expires_on=date(2027, 5, 27)), key="k1")
    assert fine.warnings == ()
    [short] = take(site, goods(resin, 25, lot_code="B", expires_on=date(2027, 3, 1)), key="k2")
    assert short.warnings == (
        "Short-dated: 96 days left of a shelf life of 12 months. What is planned by 2027-03-01 "
        "can use 8 kg of the 25 kg received.",
    )


@pytest.mark.parametrize(
    ("months", "values", "words"),
    [
        (12, {"expires_on": date(2099, 6, 30)}, "ten years ahead"),
        (12, {"expires_on": date(2029, 6, 30)}, "made today it would keep to 2027-11-25"),
        (None, {"expires_on": date(2099, 6, 30)}, "ten years ahead"),
        (12, {"containers": [Pack(Decimal(100_000))]}, "below 100,000"),
    ],
)
def test_what_is_a_slip_of_the_keyboard_is_asked_about(months, values, words):
    usual = {"lot_code": "X", "expires_on": LATER, "containers": [Pack(Decimal(1))]}
    material = make_material(shelf_life_months=months)
    with pytest.raises(Invalid, match=words):
        take(make_site(), Goods(material, **usual | values))
    assert not Lot.objects.exists()


def test_a_long_label_is_taken_when_the_day_of_make_is_given_and_the_stricter_holds():
    made = date(2026, 11, 1)
    long = {"lot_code": "X", "expires_on": date(2029, 6, 30), "made_on": made}
    [got] = take(
        make_site(),
        Goods(make_material(shelf_life_months=12), containers=[Pack(Decimal(1))], **long),
    )
    assert got.lot.expires_on == date(2027, 11, 1)


def test_a_lot_is_one_whatever_the_case_of_its_letters():
    site, material = make_site(), make_material()
    about = {"containers": [Pack(Decimal(2))], "expires_on": LATER}
    [one] = take(site, Goods(material, "AB-1", **about), key="a")
    [two] = take(site, Goods(material, "ab-1", **about), key="b")
    assert (two.lot.pk, two.lot.code) == (one.lot.pk, "AB-1")
    assert take(site, Goods(material, "ab-1", **about), key="b")[0].lot == one.lot
    with pytest.raises(IntegrityError), transaction.atomic():
        Lot.objects.create(site=site, material=material, code="aB-1", received_on=NOW.date())


def test_a_lot_that_came_twice_is_worth_what_was_paid_for_both():
    site, material = make_site(), make_material()
    take(site, goods(material, 10, unit_cost=Decimal(10)), key="a")
    take(site, goods(material, 5, unit_cost=Decimal("7.5")), key="b")
    lot = Lot.objects.get()
    assert round(lot.unit_cost * 15, 2) == Decimal("137.50")
    take(site, goods(material, 5), key="c")
    assert Lot.objects.get().unit_cost == lot.unit_cost, "no price given changes none"


@pytest.mark.parametrize(("days", "warned"), [(119, True), (120, False)])
def test_less_shelf_life_than_was_agreed_is_said_at_goods_in(site, days, warned):
    supplier = make_supplier(least_life_days=120)
    material = make_material()
    until = NOW.date() + timedelta(days=days)
    goods = Goods(
        material=material, lot_code="A", containers=[Pack(Decimal(5))], supplier=supplier,
        expires_on=until,
    )  # fmt: skip
    (found,) = receive_goods(site=site, goods=[goods], key="life", received_at=NOW)
    told = [words for words in found.warnings if "120 days are agreed" in words]
    assert bool(told) == warned
