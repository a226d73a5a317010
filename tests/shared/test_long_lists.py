"""Long lists: 200 materials, 2,000 lots and 500 orders stay short pages that one can search."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from planning.pours.models import Pour, ToolOrder
from planning.routes.actions import load_routes
from planning.routes.models import Route
from shared import clock
from shop.lots.models import Container, Lot
from shop.materials.models import Material, Pack, ResinSystem
from shop.materials.suppliers import Supplier
from shop.tools.models import Tool
from tests.callers import make_site, make_user

MOST_ROWS = 50
MOST_BYTES = 150_000


@pytest.fixture(scope="module")
def full(django_db_setup, django_db_blocker):
    """A site whose store and order book are full, inside a transaction that is taken back."""
    from django.db import transaction

    around = transaction.atomic()
    with django_db_blocker.unblock():
        around.__enter__()
        site = make_site("full")
        today = clock.today(site)
        materials = Material.objects.bulk_create(
            Material(code=f"MAT-{n:03d}", name=f"Material {n:03d}", kind="resin")
            for n in range(198)
        )
        resin, hardener = (
            Material.objects.create(code=code, name=name, kind=kind)
            for code, name, kind in (("RX", "Resin X", "resin"), ("HX", "Hardener X", "hardener"))
        )
        lots = Lot.objects.bulk_create(
            Lot(site=site, material=materials[n % 198], code=f"LOT-{n:04d}", received_on=today,
                expires_on=today + timedelta(days=30 + n), status="released")
            for n in range(2000)
        )  # fmt: skip
        Container.objects.bulk_create(
            Container(lot=lot, code=f"C-{n:04d}", balance=Decimal(5)) for n, lot in enumerate(lots)
        )
        suppliers = Supplier.objects.bulk_create(
            Supplier(code=f"SUP-{n:02d}", name=f"Supplier {n:02d}") for n in range(30)
        )
        Pack.objects.bulk_create(
            Pack(material=one, supplier=suppliers[n % 30], name="can", content=5, price=9)
            for n, one in enumerate(materials)
        )
        system = ResinSystem.objects.create(
            code="X", name="X", resin=resin, hardener=hardener, hardener_per_100=10,
            mixed_density_kg_l=Decimal("1.7"), pot_life_min=60, deepest_lift_mm=60,
            demould_min=1440,
        )  # fmt: skip
        step = {"phase": "before", "name": "Clean", "hands_min": 10}
        load_routes([{"code": "plain", "name": "Plain", "kind": "single", "steps": [step]}])
        tools = Tool.objects.bulk_create(
            Tool(site=site, code=f"TOOL-{n:03d}", name=f"Tool {n:03d}", kind="single")
            for n in range(500)
        )
        orders = ToolOrder.objects.bulk_create(
            ToolOrder(site=site, number=f"T-{n:03d}", tool=tool, route=Route.objects.get(),
                      due_on=today + timedelta(days=n % 90), priority=1 + n % 9,
                      customer=f"Customer {n % 7}", created_at=clock.now())
            for n, tool in enumerate(tools)
        )  # fmt: skip
        Pour.objects.bulk_create(
            Pour(order=one, system=system, length_mm=200, width_mm=100, depth_mm=30, volume_l=1,
                 mass_kg=2, due_on=one.due_on)
            for one in orders
        )  # fmt: skip
        user = make_user("administrator", site)
    yield user.pk
    with django_db_blocker.unblock():
        transaction.set_rollback(True)
        around.__exit__(None, None, None)


@pytest.fixture
def ask(full, db):
    client = Client()
    from shared.access.models import User

    client.force_login(User.objects.get(pk=full))

    def get(path, **query):
        answer = client.get(path, query)
        assert answer.status_code == 200, path
        return answer.content.decode()

    return get


LISTS = {
    "/orders/": ("T-123", "due number priority"),
    "/tools/": ("TOOL-321", "code name customer"),
    "/stock/": ("MAT-123", "name code"),
    "/stock/lots/": ("LOT-1234", "expiry code material received"),
    "/stock/labels/": ("LOT-1234", "code"),
    "/outlook/": ("MAT-123", "name"),
    "/outlook/months/": ("MAT-123", ""),
    "/setup/materials/": ("MAT-123", "code name kind"),
    "/buying/suppliers/": ("SUP-23", "code"),
}
"""Of each list what one looks for, and the orders one may choose."""


def rows_of(page):
    """Return the rows of a list, or its cards where each has a table of its own."""
    if "<title>Suppliers" in page:
        return re.findall(r'<section class="card" aria-label="Supplier', page)
    return re.findall(r"<tr\b[^>]*>(?:(?!</tr>).)*<th scope=\"row\"", page, re.DOTALL)


@pytest.mark.parametrize("path", LISTS)
def test_a_page_of_a_long_list_is_short_and_can_be_turned(ask, path):
    page = ask(path)
    assert 1 <= len(rows_of(page)) <= MOST_ROWS
    assert len(page) < MOST_BYTES
    assert re.search(r"Page 1 of ([2-9]|\d\d)", page)
    second = ask(path, page=2)
    assert "Page 2 of" in second
    assert rows_of(second)
    assert second != page


@pytest.mark.parametrize("path", LISTS)
def test_what_is_looked_for_is_found_alone(ask, path):
    wanted, _ = LISTS[path]
    page = ask(path, q=wanted)
    assert len(rows_of(page)) == 1, path
    assert wanted in page or wanted.replace("SUP-", "Supplier ") in page
    assert f'value="{wanted}"' in page
    nothing = ask(path, q="no such thing \0%")
    assert len(rows_of(nothing)) == 0


@pytest.mark.parametrize("path", LISTS)
def test_each_order_that_is_offered_sorts(ask, path):
    seen = set()
    for sort in LISTS[path][1].split():
        page = ask(path, sort=sort)
        assert re.search(rf'<option value="{sort}" selected>', page), sort
        assert 1 <= len(rows_of(page)) <= MOST_ROWS
        seen.add(page)
    assert len(seen) == len(LISTS[path][1].split())


def test_the_list_of_lots_sorts_by_what_it_says(ask):
    codes = re.findall(r"LOT-\d{4}", ask("/stock/lots/", sort="code"))
    assert codes == sorted(codes)
    latest = re.findall(r"LOT-\d{4}", ask("/stock/lots/", sort="received"))
    assert latest == sorted(latest, reverse=True)
