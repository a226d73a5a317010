"""Accepting or declining a proposed replacement; an accepted one becomes an order with pours."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from planning.pours import actions as pours
from planning.pours.models import Pour
from planning.replacements.models import ReplacementDecision
from planning.replacements.queries import Proposal, castable, proposals
from shared import clock
from shared.access.models import Site, User
from shared.errors import Invalid, ShopError
from shop import stores

COPIED = (
    *pours.GEOMETRY_FIELDS, "half", "system_id", "release_recipe_id", "tool_side", "mix_c",
    "mould_c", "oven_c", "may_share", "place_kind", "same_place",
)  # fmt: skip


class NoReplacementDue(ShopError):
    """Nobody proposes to replace the tool now, or it is decided already."""

    def __init__(self, message: str, **facts: Any) -> None:
        super().__init__(message, code="no_replacement_due", **facts)


@transaction.atomic
def decide(
    *, site: Site, tool_id: int, accepted: bool, now: datetime, reason: str = "",
    by: User | None = None,
) -> ReplacementDecision:  # fmt: skip
    """
    Accept a proposed replacement, which orders it, or decline it with a reason.

    Raises
    ------
    NoReplacementDue
        409 where no replacement of the tool is proposed.
    Invalid
        Where it is declined without a reason.
    """
    Site.objects.select_for_update(no_key=True).get(pk=site.pk)  # two people, one order
    proposal = next((p for p in proposals(site) if p.need.tool_id == tool_id), None)
    if proposal is None:
        raise NoReplacementDue(
            "No replacement of this tool is proposed now, or it is decided already.", tool=tool_id
        )
    if not accepted and not reason:
        raise Invalid.one("reason", "required", "reason is empty; say why it is declined.")
    order = _order(site, proposal, now, by) if accepted else None
    return ReplacementDecision.objects.create(
        tool_id=tool_id, accepted=accepted, reason=reason, order=order, decided_at=now, by=by,
        order_by=proposal.need.order_by, last_day=proposal.need.last_day,
        basis=f"{proposal.need.basis} A replacement takes {proposal.need.lead_words}."[:400],
    )  # fmt: skip


def _order(site: Site, proposal: Proposal, now: datetime, by: User | None) -> Any:
    """Order the replacement: the pours of the tool's own order once more, for a new tool."""
    if proposal.order is None:
        raise NoReplacementDue(
            f"No order here tells how {proposal.need.code} was cast; enter an order for its "
            "replacement by hand, then decline this with that reason.",
            tool=proposal.need.tool_id,
        )
    today = clock.today(site)
    made = stores.make_replacement(proposal.need.tool_id)
    [order] = pours.take_orders(
        [
            {
                "site_id": site.pk,
                "number": pours.next_number(site.pk, today),
                "tool_code": made.code,
                "tool_name": made.name,
                "customer": made.customer,
                "route": proposal.order.route,
                "due_on": max(proposal.need.last_day, today),
                "pours": [_fields(pour) for pour in castable(proposal.order)],
                "now": now,
                "by": by,
                "remarks": f"Replaces {proposal.need.code}.",
            }
        ]
    )
    return order


def _fields(pour: Pour) -> dict[str, Any]:
    return {name: getattr(pour, name) for name in COPIED}
