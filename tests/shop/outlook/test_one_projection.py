"""The list, a material's page and the calls say the same of every material."""

import random
from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine

from shop.ledger.reservations import reserve
from shop.lots.actions import open_container
from shop.outlook import queries
from tests.factories.purchasing import make_need
from tests.factories.shop import NOW, make_container, make_lot, make_material

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


def said(row):
    ahead = row.outlook
    at_risk = {}
    for one in ahead.at_risk:
        at_risk[one.usable_until] = at_risk.get(one.usable_until, 0) + round(one.quantity, 4)
    return (
        ahead.short_of, ahead.lost, ahead.projected, ahead.reserved, ahead.expired,
        [(s.pour, s.day, s.quantity, s.made_good_on) for s in ahead.short_pours],
        {day: round(q, 4) for day, q in at_risk.items()}, row.state, row.not_released,
    )  # fmt: skip


def both(site):
    listed = {row.material.pk: said(row) for row in queries.rows(site)}
    for pk, one in listed.items():
        [alone] = queries.rows(site, material_ids=[pk])
        assert said(alone) == one
    return listed


def test_a_reserved_can_is_claimed_by_itself_not_by_its_lot(site):
    material = make_material(open_life_days=5)
    lot = make_lot(site, material, code="L", expires_on=date(2026, 12, 24))
    make_container(lot, holds=4)
    opened = make_container(lot, holds=4)
    open_container(opened.pk, at=NOW)
    reserve(
        container_id=opened.pk, quantity=Decimal(4), purpose="batch:1:1",
        needed_at=NOW + timedelta(days=3),
    )  # fmt: skip
    make_need(site, material, 10, 4, "P1")
    [row] = queries.rows(site)
    assert row.short == 0
    both(site)


@pytest.mark.parametrize("seed", range(8))
def test_any_stock_with_any_reservations_is_projected_alike(site, seed):
    rng = random.Random(seed)
    for _ in range(5):
        material = make_material(open_life_days=rng.choice([None, 5, 20]))
        cans = []
        for _ in range(rng.randint(1, 3)):
            until = rng.choice([None, NOW.date() + timedelta(days=rng.randint(1, 80))])
            status = rng.choice(["released", "released", "held"])
            lot = make_lot(site, material, expires_on=until, status=status)
            cans += [make_container(lot, holds=rng.randint(1, 9)) for _ in range(2)]
        for n, can in enumerate(cans):
            if rng.random() < 0.4:
                open_container(can.pk, at=NOW - timedelta(days=rng.randint(0, 4)))
            if rng.random() < 0.5 and can.lot.status == "released":
                reserve(
                    container_id=can.pk, quantity=Decimal(rng.randint(1, 2)) / 2,
                    purpose=f"batch:{n}:1", needed_at=NOW + timedelta(hours=rng.randint(0, 12)),
                )  # fmt: skip
        for n in range(4):
            make_need(site, material, rng.randint(0, 85), rng.randint(1, 9), f"P{n}")
    assert len(both(site)) == 5
