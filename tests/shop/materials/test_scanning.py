from datetime import date
from decimal import Decimal

import pytest

from shared.errors import Invalid
from shop.materials.models import LearnedCode, Pack
from shop.materials.scanning import read_goods_scan
from tests.factories.shop import NOW, make_material, make_supplier

pytestmark = pytest.mark.django_db

TODAY = date(2026, 11, 25)
GTIN = "09506000134352"  # check digit 2 by the 3-1 rule: 9506000134352 is GS1's own example number
FNC1 = "\x1d"


@pytest.fixture
def pail():
    material, supplier = make_material(), make_supplier()
    return Pack.objects.create(
        material=material, supplier=supplier, name="25 kg pail", content=25, price=1,
        gtin="9506000134352", supplier_item="R-25",
    )  # fmt: skip


def test_a_gs1_label_names_material_lot_dates_and_quantity(pail):
    scan = read_goods_scan(f"]d201{GTIN}17270630310300{'2450'}10LOT-7A{FNC1}", TODAY)
    assert scan.material == pail.material
    assert (scan.supplier_id, scan.lot_code) == (pail.supplier_id, "LOT-7A")
    assert scan.expires_on == date(2027, 6, 30)
    assert scan.quantity == Decimal("2.450")
    assert scan.warnings == ()


def test_without_a_printed_mass_the_pack_says_how_much(pail):
    scan = read_goods_scan(f"01{GTIN}10LOT-7A", TODAY)
    assert (scan.quantity, scan.expires_on) == (25, None)


def test_an_unknown_item_number_asks_for_the_material():
    scan = read_goods_scan(f"01{GTIN}10LOT-7A", TODAY)
    assert scan.material is None
    assert f"no pack with the item number {GTIN} is known" in scan.warnings[0]


def test_a_suppliers_plain_code_works_once_it_is_learned(pail):
    with pytest.raises(Invalid, match="match it to a material once"):
        read_goods_scan("RESIN-25KG", TODAY, pail.supplier_id)
    LearnedCode.objects.create(
        supplier=pail.supplier, text="RESIN-25KG", material=pail.material, content=25,
        learned_at=NOW,
    )  # fmt: skip
    scan = read_goods_scan("RESIN-25KG", TODAY, pail.supplier_id)
    assert (scan.material, scan.quantity) == (pail.material, 25)
    with pytest.raises(Invalid):
        read_goods_scan("RESIN-25KG", TODAY, make_supplier().pk)


def test_a_code_two_suppliers_use_needs_the_supplier(pail):
    for supplier in (pail.supplier, make_supplier()):
        LearnedCode.objects.create(
            supplier=supplier, text="XY", material=pail.material, learned_at=NOW
        )
    with pytest.raises(Invalid):
        read_goods_scan("XY", TODAY)


@pytest.mark.parametrize(
    ("scan", "code"),
    [
        pytest.param("", "empty", id="nothing"),
        pytest.param("01095060001343531OLOT", "check_digit", id="wrong check digit"),
        pytest.param(f"01{GTIN}17270230", "bad_date", id="30 February"),
    ],
)
def test_a_label_that_breaks_a_rule_is_refused(scan, code):
    with pytest.raises(Invalid) as refused:
        read_goods_scan(scan, TODAY)
    assert refused.value.problems[0].code == code
