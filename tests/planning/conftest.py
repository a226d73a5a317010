"""The invented shop of the demo, on a fixed Monday morning."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import transaction

from shared.access.models import Site

FIXTURES = Path(__file__).parents[2] / "fixtures"
MONDAY = datetime(2026, 11, 30, 4, 0, tzinfo=UTC)
"""05:00 at the demo site, before anybody is in."""


@pytest.fixture
def now() -> datetime:
    return MONDAY


@pytest.fixture(scope="module")
def stocked(django_db_setup, django_db_blocker):
    """
    Load the shop once for all tests of a module, inside a transaction that is never committed.

    Each test runs in a transaction of its own within it and leaves the shop as it was.
    """
    from planning.routes.actions import load_routes
    from shop.demo import load_shop
    from shop.materials.models import Material

    data = json.loads((FIXTURES / "demo" / "shop.json").read_text(encoding="utf-8"))
    routes = json.loads((FIXTURES / "reference" / "routes.json").read_text(encoding="utf-8"))
    around = transaction.atomic()
    with django_db_blocker.unblock():
        around.__enter__()
        site = load_shop(data, MONDAY, "a password for tests")
        # Stirring before each first weighing has tests of its own, which ask for it.
        Material.objects.update(stir_before_use=False)
        load_routes(routes)
    yield site.pk
    with django_db_blocker.unblock():
        transaction.set_rollback(True)
        around.__exit__(None, None, None)


@pytest.fixture
def shop_site(stocked, db):
    """Stock, people, systems and routes, but no orders."""
    return Site.objects.get(pk=stocked)


@pytest.fixture
def take(shop_site, now):
    """Take in a single-sided order for one box-shaped pour; anything may be overridden."""
    from datetime import timedelta

    from planning.pours.actions import take_order
    from planning.routes.models import Route
    from shop import stores

    def make(number="T-1", *, system="Q", due_in_days=4, half="A", route="single", **fields):
        pour = {
            "half": half,
            "system_id": stores.system_by_code(system).id,
            "length_mm": "200",
            "width_mm": "100",
            "depth_mm": "30",
            "tool_side": "board",
            "release_recipe_id": stores.recipe_by_code("WAX5").id,
            **fields,
        }
        order = take_order(
            site_id=shop_site.pk,
            number=number,
            tool_code=f"TOOL-{number}",
            tool_name=f"Tool {number}",
            route=Route.objects.get(code=route),
            due_on=(now + timedelta(days=due_in_days)).date(),
            pours=[pour],
            now=now,
        )
        return order.pours.get()

    return make


@pytest.fixture
def planned(take, shop_site, now):
    """Take some pours, plan their week, confirm it; returns the confirmed plan."""
    from planning.schedule import actions

    def make(*pours, seconds=0.5):
        if not pours:
            take()
        wish = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=seconds)
        plan = actions.solve(plan_id=wish.pk, now=now)
        assert plan.violations == []
        return actions.confirm(plan=plan, now=now)

    return make
