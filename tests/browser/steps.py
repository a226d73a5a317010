"""What a thumb does on the pages: small moves that the day's stories are told with."""

from __future__ import annotations

import os
import re
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.utils import timezone

from tests.factories.floor import sign_off


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


def open_to_weigh(page: Any, batch: Any) -> None:
    """Open a batch's page and make all ready that comes before its first weighing."""
    page.goto(f"/batches/{batch.pk}/")
    page.locator("#ready").tap()
    wait_for_step(page, "Weigh resin")


def figure(page: Any) -> Decimal:
    """Return the figure that the step aims at, kg."""
    return Decimal(page.locator(".target__figure").inner_text())


def mix(page: Any, batch: Any, clock: Any) -> None:
    """Bring resin and hardener together when it is planned, and go on until the pot is mixed."""
    wait_for_step(page, "first contact")
    wait_until_sent(page)
    clock.move_to(max(batch.planned_contact, timezone.now()))
    page.locator("#contact").tap()
    wait_for_step(page, "Second container")
    mix_for(page, batch, clock)
    page.locator("#second").tap()
    wait_for_step(page, "Pour into")
    mix_for(page, batch, clock)


def mix_for(page: Any, batch: Any, clock: Any) -> None:
    """Mix in one of the two containers as long as is asked, and let the page learn the time."""
    wait_until_sent(page)
    clock.shift(timedelta(minutes=batch.system.mix_min / 2, seconds=5))
    page.reload()
    page.wait_for_function(
        "(now) => Math.abs(Queue.now() - now) < 4000", arg=timezone.now().timestamp() * 1000
    )


def weigh_all(page: Any, batch: Any) -> None:
    """Weigh every row of a batch on its target."""
    for line in batch.lines.order_by("order"):
        weigh_line(page, line)


def used_of(batch: Any) -> dict[str, Decimal]:
    """Return what the ledger has booked out to a batch, kg of each component; reversals count."""
    from shop.ledger.models import Movement

    roles = dict(batch.lines.values_list("container__lot__material_id", "role"))
    found = dict.fromkeys(roles.values(), Decimal(0))
    for row in Movement.objects.select_related("container__lot", "reverses"):
        first = row.reverses or row
        if first.counterpart == f"batch:{batch.pk}":
            found[roles[row.container.lot.material_id]] -= row.quantity
    return found


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
        page.screenshot(path=folder / f"{name}.png", full_page=not name.startswith("reach"))


def play_batch(page: Any, batch: Any, clock: Any) -> None:
    """Make ready, weigh, mix and pour a batch of one portion, each at its planned time."""
    clock.move_to(max(batch.planned_start, timezone.now()))
    sign_off(batch)
    page.goto(f"/batches/{batch.pk}/")
    wait_for_step(page, "Make ready")
    page.locator("#ready").tap()
    for line in batch.lines.order_by("order"):
        weigh_line(page, line)
    wait_for_step(page, "first contact")
    page.reload()
    mix(page, batch, clock)
    page.locator("#poured").tap()
    wait_for_step(page, "Finished")
    wait_until_sent(page)


def sign_by_touch(
    page: Any, step: Any, values: dict[str, str], took_min: int | None = None
) -> None:
    """Open a step on its pour's page, tick and measure what it asks, and sign it."""
    card = page.locator(f"#step-{step.pk}")
    card.get_by_text("Sign this step").tap()
    for n, check in enumerate(step.checks):
        field = card.locator(f"#id_step-{step.pk}-check_{n}")
        if check.get("low") is None and check.get("high") is None:
            field.tap()
        else:
            field.fill(values[check["what"]])
    if took_min is not None:
        card.get_by_label("Hands-on time, min").fill(str(took_min))
    card.get_by_role("button", name="Done").tap()
    page.get_by_text(f"{step.name} is signed.").wait_for()
