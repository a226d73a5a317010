"""Page: changes of the catalogue that wait, hold from a later day, or were decided."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError
from shop.catalogue import actions, queries
from shop.catalogue.models import CatalogueChange, ChangeState

ON_A_PAGE = 20
OPEN = (ChangeState.WAITING, ChangeState.RELEASED)


@needs("materials:read")
@require_safe
def changes(request: Any) -> HttpResponse:
    """List the changes that are open, then those that are decided."""
    decided = request.GET.get("decided") == "1"
    rows = queries.changes()
    rows = rows.exclude(state__in=OPEN) if decided else rows.filter(state__in=OPEN)
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "table": [{"change": row, "lines": queries.lines_of(row)} for row in page],
        "decided": decided,
        "two_signatures": queries.two_signatures(),
        "orders_by_two": queries.orders_by_two(),
        "may_release": request.access.may_for_all("materials:write"),
        "may_rule": request.access.may_for_all("accounts:write"),
        "alone": not queries.may_release().exclude(pk=request.user.pk).exists(),
    }
    return render(request, "shop/catalogue/changes.html", context)


def _told(request: Any, work: Callable[[], str]) -> HttpResponse:
    try:
        messages.success(request, work())
    except ShopError as error:
        messages.error(request, error.message)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("catalogue-changes")


@needs("materials:write", for_all=True)
@require_POST
def decide(request: Any, pk: int) -> HttpResponse:
    """Release a change or decline it."""
    change = get_object_or_404(CatalogueChange, pk=pk)
    reason = request.POST.get("reason", "")[:300]

    def work() -> str:
        asked = {"change": change, "by": request.user, "now": clock.now(), "reason": reason}
        if request.POST.get("what") != "release":
            actions.decline(**asked)
            return f"{change} is declined."
        found = actions.release(**asked)
        if found.state == ChangeState.IN_FORCE:
            return f"{change} is in force."
        return f"{change} is released and holds from {found.valid_from:%d %B %Y} on."

    return _told(request, work)


@needs("materials:read")
@require_POST
def rules(request: Any) -> HttpResponse:
    """Turn a second signature on or off, for the catalogue or for purchase orders."""
    if not request.access.may_for_all("accounts:write"):
        raise PermissionDenied("This needs accounts:write for all sites.")
    what = "orders_by_two" if "orders_by_two" in request.POST else "two_signatures"
    on = request.POST.get(what) == "1"

    def work() -> str:
        actions.set_rules(**{what: on})
        whose = "of purchase orders" if what == "orders_by_two" else "of the catalogue"
        asked = "asked for" if on else "not asked for"
        return f"A second signature {whose} is {asked} from now on."

    return _told(request, work)
