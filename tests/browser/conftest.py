"""A headless Chromium before the invented shop, in which any error of a page fails the test."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine

FIXTURES = Path(__file__).parents[2] / "fixtures"
EARLY = datetime(2026, 11, 30, 4, 0, tzinfo=UTC)
"""Monday, 05:00 at the demo site, before anybody is in."""
PASSWORD = "a password for tests"
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CUT_OFF = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "ERR_CONNECTION")
"""What Chromium writes to its console about a network that a test has cut."""


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    # The sync interface runs an event loop in this thread; Django would refuse to be used in it.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


class Troubles(list[str]):
    """What went wrong on the pages of a test; `cut_allowed` while the network is off."""

    cut_allowed = False

    def watch(self, page: Any) -> None:
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.append(f"page error: {error}"))
        page.on(
            "response",
            lambda answer: answer.status >= 400 and self.append(f"{answer.status} {answer.url}"),
        )

    def _console(self, message: Any) -> None:
        if message.type != "error":
            return
        if self.cut_allowed and any(word in message.text for word in CUT_OFF):
            return
        self.append(f"console: {message.text}")


@pytest.fixture
def troubles() -> Iterator[Troubles]:
    found = Troubles()
    yield found
    assert found == []


@pytest.fixture
def open_page(chromium, troubles, live_server) -> Iterator[Callable[..., Any]]:
    """`open_page(390)` is a phone's page, 820 a tablet's, both with touch; 1280 is a desk's."""
    contexts = []

    def make(width: int = 390) -> Any:
        phone = width < 700
        context = chromium.new_context(
            viewport={"width": width, "height": 844},
            has_touch=width < 900,
            is_mobile=phone,
            base_url=live_server.url.replace("127.0.0.1", "localhost"),
        )
        context.set_default_timeout(20_000)
        contexts.append(context)
        page = context.new_page()
        troubles.watch(page)
        return page

    yield make
    for context in contexts:
        context.close()


@pytest.fixture
def sign_in() -> Callable[[Any, str], None]:
    def go(page: Any, username: str) -> None:
        page.goto("/sign-in/")
        page.fill("input[name=username]", username)
        page.fill("input[name=password]", PASSWORD)
        page.locator("main button").first.click()
        page.wait_for_url(lambda url: "sign-in" not in url)

    return go


@pytest.fixture
def clock() -> Iterator[Any]:
    """The shop's clock: it runs, from Monday before anybody is in, and can be moved."""
    with time_machine.travel(EARLY, tick=True) as traveller:
        yield traveller


@pytest.fixture
def shop(transactional_db, clock) -> Any:
    """The invented shop with its stock and people, but no orders."""
    from planning.routes.actions import load_routes
    from shop.demo import load_shop
    from shop.materials.models import Material

    data = json.loads((FIXTURES / "demo" / "shop.json").read_text(encoding="utf-8"))
    routes = json.loads((FIXTURES / "reference" / "routes.json").read_text(encoding="utf-8"))
    site = load_shop(data, EARLY, PASSWORD)
    # Stirring before each first weighing has a story of its own, which asks for it.
    Material.objects.update(stir_before_use=False)
    load_routes(routes)
    return site


@pytest.fixture
def planned_batch(shop) -> Any:
    """A single-sided tool, ordered and planned for today: one lift from one batch."""
    from planning.batches.models import Batch
    from planning.pours.actions import take_order
    from planning.routes.models import Route
    from planning.schedule import actions
    from shop import stores

    take_order(
        site_id=shop.pk,
        number="TO-1",
        tool_code="GRIP-1",
        tool_name="Grip",
        route=Route.objects.get(code="single"),
        due_on=(EARLY + timedelta(days=4)).date(),
        pours=[
            {
                "half": "A",
                "system_id": stores.system_by_code("Q").id,
                "length_mm": "200",
                "width_mm": "100",
                "depth_mm": "30",
                "tool_side": "board",
                "release_recipe_id": stores.recipe_by_code("WAX5").id,
            }
        ],
        now=EARLY,
    )
    wish = actions.request_plan(site=shop, week="2026-W49", now=EARLY, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=EARLY)
    assert plan.violations == []
    actions.confirm(plan=plan, now=EARLY)
    return Batch.objects.get()
