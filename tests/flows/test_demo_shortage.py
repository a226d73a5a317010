"""The demo shop has something to do for purchasing on the day it is opened."""

import json

import pytest
import time_machine
from django.conf import settings

from planning.demo.actions import load_orders
from planning.routes.actions import load_routes
from shared import clock
from shop.demo import load_shop
from shop.outlook import queries
from shop.proposals import actions
from shop.purchasing.models import PurchaseOrder
from shop.purchasing.queries import open_lines
from tests.factories.shop import NOW

pytestmark = pytest.mark.django_db


@time_machine.travel(NOW, tick=False)
def test_resin_and_hardener_run_short_in_time_to_be_ordered():
    fixtures = settings.ROOT / "fixtures"
    data = json.loads((fixtures / "demo" / "shop.json").read_text(encoding="utf-8"))
    site = load_shop(data, clock.now(), "demo-shop")
    load_routes(json.loads((fixtures / "reference" / "routes.json").read_text(encoding="utf-8")))
    load_orders(site, data["orders"], clock.now())
    short = {row.material.code: row for row in queries.rows(site) if row.first_short_on}
    assert set(short) >= {"RES-T", "HARD-T"}
    for row in short.values():
        assert not row.too_late
        assert row.last_order_on.isoweekday() < 6
    found = actions.work_out(site=site)
    assert found.no_offer == ()
    expected = open_lines(site.pk)
    assert {one.line.material.code for one in expected} == {"SPRAYWAX", "BARRIER"}
    assert all(one.line.due_on.isoweekday() < 6 for one in expected)
    load_shop(data, clock.now(), "demo-shop")
    assert PurchaseOrder.objects.count() == 1
    assert {p.material.code for p in found.proposals} >= {"RES-T", "HARD-T"}
    assert not any(p.late_for for p in found.proposals)
