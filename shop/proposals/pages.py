"""The Buying page: what runs short, what to order and why, and what is on its way."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError
from shop.outlook import queries as outlook
from shop.page_forms import row_id
from shop.proposals import actions
from shop.proposals.queries import open_proposals
from shop.purchasing import queries as purchasing
from shop.purchasing.models import COMING


@needs("purchases:read")
@require_GET
def buying(request: Any) -> HttpResponse:
    """Show shortages, proposals and open orders of the site."""
    site, today = request.site, clock.today(request.site)
    rows = outlook.rows(site)
    short = sorted(
        (row for row in rows if row.first_short_on),
        key=lambda row: (row.last_order_on or row.first_short_on, row.material.code),
    )
    found = list(open_proposals(site))
    orders = list(purchasing.orders(site.pk).filter(status__in=COMING))
    return render(
        request,
        "shop/proposals/buying.html",
        {
            "short": short,
            "proposals": found,
            "worked_out_at": found[0].worked_out_at if found else None,
            "orders": [_order_row(order, today) for order in orders],
            "today": today,
            "may_buy": request.access.may("purchases:write", site.pk),
            "may_price": request.access.may("prices:read", site.pk),
        },
    )


def _order_row(order: Any, today: Any) -> dict[str, Any]:
    due = min((line.due_on for line in order.lines.all()), default=None)
    return {
        "order": order,
        "due": due,
        "late": due is not None and due < today,
        "cost": purchasing.goods_cost(order),
    }


@needs("purchases:write")
@require_POST
def work_out(request: Any) -> HttpResponse:
    """Work the proposals out anew."""
    found = actions.work_out(site=request.site)
    count = len(found.proposals)
    messages.success(
        request,
        f"{count} proposal{'' if count == 1 else 's'} worked out over {actions.HORIZON_DAYS} days."
        if count
        else f"Nothing needs to be bought for the next {actions.HORIZON_DAYS} days.",
    )
    if found.no_offer:
        names = ", ".join(f"{m.name} ({m.code})" for m in found.no_offer)
        messages.warning(
            request, f"Runs short, and no supplier's pack is entered: {names}. Enter a pack."
        )
    for material, why in found.impossible:
        messages.warning(
            request, f"{material.name} ({material.code}) cannot be bought as it is needed: {why}."
        )
    for material in found.not_in_time:
        messages.warning(
            request,
            f"{material.name} ({material.code}): the time ran out before a purchase was found. "
            "Work the proposals out again, or order by hand.",
        )
    return redirect("buying")


@needs("purchases:write")
@require_POST
def decide(request: Any) -> HttpResponse:
    """Approve or refuse the proposals that were ticked."""
    ids = [key for pk in request.POST.getlist("proposal") if (key := row_id(pk)) is not None]
    try:
        if request.POST.get("verdict") == "refuse":
            reason = request.POST.get("reason", "")
            rows = actions.refuse(
                site=request.site, proposal_ids=ids, reason=reason, by=request.user
            )
            messages.success(request, f"{len(rows)} refused.")
            return redirect("buying")
        if not request.access.may("approvals:write", request.site.pk):
            messages.error(request, "This needs approvals:write; your role does not have it.")
            return redirect("buying")
        orders = actions.approve(site=request.site, proposal_ids=ids, by=request.user)
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
        return redirect("buying")
    names = ", ".join(order.number for order in orders)
    messages.success(request, f"Approved as {names}. It is not sent to the supplier yet.")
    return redirect("purchase-order", orders[0].pk) if len(orders) == 1 else redirect("buying")
