"""Packs, needs and orders; a test names only what matters to it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from itertools import count

from shop.ledger.models import Requirement
from shop.materials.models import Pack
from shop.purchasing import actions
from tests.factories.shop import NOW, make_material, make_supplier

_number = count(1)


def make_pack(material=None, supplier=None, **values):
    usual = {
        "material": material or make_material(),
        "supplier": supplier or make_supplier(),
        "name": "5 kg can",
        "content": Decimal(5),
        "price": Decimal(60),
    }
    pack = Pack(**usual | values)
    pack.full_clean()
    pack.save()
    return pack


def make_need(site, material, days, quantity, label=None):
    """Ask for material some days from the tests' present."""
    return Requirement.objects.create(
        site=site,
        material=material,
        source=f"pour:{next(_number)}",
        label=label or f"P{next(_number)}",
        quantity=Decimal(str(quantity)),
        needed_at=NOW + timedelta(days=days),
    )


def new_line(pack, packs=2, days=7):
    return actions.NewLine(
        material=pack.material,
        pack_name=pack.name,
        content=pack.content,
        packs=packs,
        expected_on=(NOW + timedelta(days=days)).date(),
        pack_price=pack.price,
        supplier_item=pack.supplier_item,
    )


def make_order(site, pack=None, packs=2, days=7, *, placed=True):
    """Return an order of one line, sent to the supplier unless told otherwise."""
    pack = pack or make_pack()
    order = actions.draft(site=site, supplier=pack.supplier, lines=[new_line(pack, packs, days)])
    order = actions.approve(order=order, by=None)
    return actions.place(order=order) if placed else order
