"""What the invented shop did before the demo begins: a tool in use, and waste written down."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from shared import clock
from shared.access.models import Site, User
from shop.tools.actions import add_event
from shop.tools.inspecting import ACCEPT, Finding
from shop.tools.inspection_models import Checkpoint
from shop.tools.models import Tool
from shop.tools.taking_over import enter_tool
from shop.waste.actions import enter

KEEPER = "karin"


def load_tool(site: Site, row: Mapping[str, Any], now: datetime) -> None:
    """Enter a tool in use with its checklist, its runs and its inspections; once."""
    if Tool.objects.filter(site=site, code=row["code"]).exists():
        return
    about = ("code", "name", "kind", "customer", "expected_shots", "days_per_inspection")
    by = User.objects.filter(username=KEEPER).first()
    since = clock.local(now, site).date() - timedelta(days=row["in_service_days_ago"])
    tool = enter_tool(
        site=site, in_service_since=since, shots_so_far=row["shots_so_far"], by=by,
        **{name: row[name] for name in about},
    )  # fmt: skip
    for point in row["checkpoints"]:
        Checkpoint.objects.create(site=site, tool=tool, **point)
    points = {point.code: point for point in tool.checkpoints.all()}
    for n, one in enumerate(row["history"]):
        found = [_finding(points[code], value) for code, value in one.get("found", {}).items()]
        add_event(
            tool_id=tool.pk,
            kind="inspection" if found else "shots",
            key=f"demo:{tool.pk}:{n}",
            at=now - timedelta(days=one["days_ago"]),
            by=by,
            shots=one.get("shots", 0),
            findings=found,
            facts={"verdict": ACCEPT} if found else None,
        )


def _finding(point: Checkpoint, value: str | bool) -> Finding:
    if isinstance(value, bool):
        return Finding(point, good=value)
    return Finding(point, value=Decimal(value))


def load_waste(site: Site, row: Mapping[str, Any], n: int, now: datetime) -> None:
    """Write down what went into hazardous waste; a repeat changes nothing."""
    enter(
        site=site,
        kind=row["kind"],
        mass_kg=Decimal(row["mass_kg"]),
        key=f"demo:{site.pk}:waste:{n}",
        at=now - timedelta(days=row["days_ago"]),
        by=User.objects.filter(username=KEEPER).first(),
        words=row["words"],
    )
