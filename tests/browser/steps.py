"""What a thumb does on the pages: small moves that the day's stories are told with."""

from __future__ import annotations

import os
import re
from decimal import Decimal
from pathlib import Path
from typing import Any


def tap(page: Any, name: str, **more: Any) -> None:
    """Tap the button or link of that name."""
    page.get_by_role("button", name=name, **more).or_(
        page.get_by_role("link", name=name, **more)
    ).first.tap()


def type_weight(page: Any, kg: Decimal | str) -> None:
    """Type a weight on the page's own keypad."""
    for sign in str(kg):
        label = "Point" if sign == "." else sign
        page.locator(".keypad").get_by_role("button", name=label, exact=True).tap()


def scan(page: Any, code: str) -> None:
    """Scan a can: a scanner types its code and Enter."""
    page.locator("#scan").fill(code)
    page.locator("#scan").press("Enter")


def headline_of_step(page: Any) -> str:
    """Return which step is open."""
    return page.locator("#step h2").inner_text()


def wait_for_step(page: Any, name: str) -> None:
    page.locator("#step h2", has_text=re.compile(name)).wait_for()


def wait_until_sent(page: Any) -> None:
    """Wait until this device holds nothing that the shop's computer has not taken."""
    page.wait_for_function("() => Queue.unsent().length === 0")


def weigh_line(page: Any, line: Any, kg: Decimal | str | None = None) -> None:
    """Scan a row's can and type its weight."""
    wait_for_step(page, f"Weigh {line.role}")
    scan(page, line.container.code)
    type_weight(page, line.target_kg.normalize() if kg is None else kg)
    page.locator("#take").tap()


def no_sideways_scroll(page: Any) -> bool:
    return page.evaluate(
        "() => document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )


def shot(page: Any, name: str) -> None:
    """Keep a picture for whoever wants to look; only when SHOTS is set."""
    if os.environ.get("SHOTS"):
        folder = Path(os.environ["SHOTS"])
        folder.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=folder / f"{name}.png", full_page=True)
