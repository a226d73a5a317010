"""Reads: castings that stand ready to be sent, and why others may not go."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from planning.deliveries.models import DeliveryKind, DeliveryNote
from planning.pours.models import Pour, PourStatus, PourStep
from planning.weigh_in.models import CastingQuarantine

OUT_OF_USE = ("repair", "retired")
"""States of a tool in which none of it goes out."""


def why_not(pour: Pour) -> list[str]:
    """Return every reason why a casting may not be sent now; none when it may."""
    found = []
    if pour.sent:
        found.append("it is with the customer already; take that delivery back first")
    record = getattr(pour, "demould", None)
    if pour.status != PourStatus.DEMOULDED or record is None:
        state = pour.get_status_display().lower()
        return [*found, f"it is {state}; it must be cured, demoulded and accepted first"]
    tool = pour.order.tool
    if record.verdict == "rework" and tool.status != "in_service":
        found.append("it was taken off to be reworked; bring its tool back into use first")
    elif record.verdict == "reject":
        found.append("it was rejected")
    elif tool.status in OUT_OF_USE:
        found.append(f"its tool {tool.code} is {tool.get_status_display().lower()}")
    if pour.order.held_at is not None:
        found.append(f"its order is on hold ({pour.order.held_reason}); release that first")
    if pour.quarantines.filter(released_at__isnull=True).exists():
        found.append("it is in quarantine; have quality release it")
    steps = pour.steps.filter(done_at__isnull=True).values_list("name", flat=True)[:3]
    if steps:
        found.append(f"steps are not signed ({'; '.join(steps)}); sign them or leave them out")
    return found


def ready(site_id: int) -> QuerySet[Pour]:
    """Return the castings of a site that may be sent, by customer and order."""
    open_steps = PourStep.objects.filter(pour=OuterRef("pk"), done_at__isnull=True)
    held = CastingQuarantine.objects.filter(pour=OuterRef("pk"), released_at__isnull=True)
    fit = Q(demould__verdict="accept") & ~Q(order__tool__status__in=OUT_OF_USE)
    reworked = Q(demould__verdict="rework", order__tool__status="in_service")
    return (
        Pour.objects.filter(
            fit | reworked,
            ~Exists(open_steps),
            ~Exists(held),
            order__site=site_id,
            order__held_at__isnull=True,
            status=PourStatus.DEMOULDED,
            sent=False,
        )
        .select_related("order__tool", "demould")
        .order_by("order__customer", "order__number", "half")
    )


def last_to(site_id: int, recipient: str) -> DeliveryNote | None:
    """Return the newest delivery to somebody, for the address."""
    rows = DeliveryNote.objects.filter(site=site_id, recipient=recipient, kind=DeliveryKind.SENT)
    return rows.order_by("-pk").first()


def still_out(note: DeliveryNote) -> list[Any]:
    """Return the lines of a note whose castings did not come back."""
    if note.kind != DeliveryKind.SENT:
        return []
    rows = note.lines.filter(taken_back_by__isnull=True)
    return list(rows.select_related("pour__order__tool").order_by("pk"))


def listed(castings: Iterable[Pour]) -> str:
    """Return castings in words: T26-0042 A and B; T26-0043 A."""
    by_order: dict[str, list[str]] = {}
    for pour in castings:
        by_order.setdefault(pour.order.number, []).append(pour.half)
    return "; ".join(f"{number} {' and '.join(halves)}" for number, halves in by_order.items())
