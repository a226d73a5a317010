"""Pages of purchase orders: the list, one order with what may be done to it, its PDF."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop.purchasing import actions, mailing, papers, queries
from shop.purchasing.models import OrderStatus, PurchaseOrder

ON_A_PAGE = 50
MOST_PACKS = 10_000


@needs("purchases:read")
@require_GET
def orders(request: Any) -> HttpResponse:
    """List all orders of the site, the latest first."""
    status = request.GET.get("status", "")
    rows = queries.orders(request.site.pk)
    if status in OrderStatus.values:
        rows = rows.filter(status=status)
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "shop/purchasing/orders.html",
        {
            "page": page,
            "status": status,
            "statuses": OrderStatus.choices,
            "packs": queries.packs_on_offer(),
            "may_buy": request.access.may("purchases:write", request.site.pk),
            "today": clock.today(request.site),
        },
    )


@needs("purchases:write")
@require_POST
def write(request: Any) -> HttpResponse:
    """Write a draft of one line by hand, for what no plan asks for."""
    try:
        pack = queries.packs_on_offer().filter(pk=_whole(request, "pack", 0)).first()
        if pack is None:
            raise Invalid.one("pack", "required", "pack is empty; choose one of the list.")
        count = _whole(request, "packs", 1)
        if not pack.least_packs <= count <= MOST_PACKS:
            words = f"packs is {count}; give {pack.least_packs} to {MOST_PACKS}."
            raise Invalid.one("packs", "out_of_range", words, value=count, limit=MOST_PACKS)
        line = actions.NewLine(
            material=pack.material,
            pack_name=pack.name,
            content=pack.content,
            packs=count,
            expected_on=_day(request, "expected_on", None) or clock.today(request.site),
            pack_price=queries.pack_price(pack, count),
            supplier_item=pack.supplier_item,
        )
        found = actions.draft(
            site=request.site, supplier=pack.supplier, lines=[line], by=request.user
        )
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
        return redirect("purchase-orders")
    messages.success(request, f"{found} is written down as a draft; approve it to go on.")
    return redirect("purchase-order", found.pk)


def _order(request: Any, pk: int) -> PurchaseOrder:
    return get_object_or_404(queries.orders(request.site.pk), pk=pk)


@needs("purchases:read")
@require_GET
def order(request: Any, pk: int) -> HttpResponse:
    """Show one order and offer what may be done next."""
    found = _order(request, pk)
    may = request.access.may
    sent = (OrderStatus.ORDERED, OrderStatus.CONFIRMED)
    cost = queries.goods_cost(found)
    return render(
        request,
        "shop/purchasing/order.html",
        {
            "order": found,
            "lines": queries.line_states(found),
            "mail": found.mails.first(),
            "cost": cost,
            "below_least": cost is not None and cost < found.supplier.least_order,
            "today": clock.today(request.site),
            "sent": found.status in sent,
            "may_buy": may("purchases:write", request.site.pk),
            "may_approve": may("approvals:write", request.site.pk),
            "may_price": may("prices:read", request.site.pk),
            "may_receive": may("movements:write", request.site.pk) and found.status in sent,
        },
    )


@needs("prices:read")
@require_GET
def order_pdf(request: Any, pk: int) -> HttpResponse:
    """Hand out the order as it goes to the supplier, prices included."""
    found = _order(request, pk)
    answer = HttpResponse(papers.order_pdf(found), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{found.number}.pdf"'
    return answer


@needs("purchases:read")
@require_POST
def deed(request: Any, pk: int, deed: str) -> HttpResponse:
    """Do one thing to an order, as its button says."""
    if deed not in DEEDS:
        raise Http404(f"There is no deed {deed}.")
    scope, work = DEEDS[deed]
    found = _order(request, pk)
    if not request.access.may(scope, request.site.pk):
        messages.error(request, f"This needs {scope}; your role does not have it.")
        return redirect("purchase-order", pk)
    try:
        messages.success(request, work(request, found))
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("purchase-order", pk)


def _approve(request: Any, found: PurchaseOrder) -> str:
    actions.approve(order=found, by=request.user)
    return f"{found} is approved; it is not sent to the supplier yet."


def _place(request: Any, found: PurchaseOrder) -> str:
    mail = request.POST.get("mail") == "1"
    if mail:
        mailing.check_address(found)
    # Ordered and to be mailed, or neither.
    with transaction.atomic():
        placed = actions.place(order=found, below_least=request.POST.get("below_least") == "1")
        if mail:
            return _mail(request, placed)
    return f"{found} counts as ordered. Send the PDF to {found.supplier} yourself."


def _mail(request: Any, found: PurchaseOrder) -> str:
    mail = mailing.ask(found)
    return f"{found} is ordered and goes to {mail.address}; this page says when it is sent."


def _confirm(request: Any, found: PurchaseOrder) -> str:
    answers = {
        line.pk: actions.Answer(
            _whole(request, f"packs-{line.pk}", line.packs),
            _day(request, f"due-{line.pk}", line.due_on) or line.due_on,
        )
        for line in found.lines.all()
    }
    reference = request.POST.get("reference", "").strip()[:80]
    actions.confirm(order=found, reference=reference, answers=answers)
    return f"{found} is confirmed by the supplier."


def _close(request: Any, found: PurchaseOrder) -> str:
    actions.close(order=found, reason=request.POST.get("reason", "")[:200])
    return f"{found} is closed."


def _cancel(request: Any, found: PurchaseOrder) -> str:
    actions.cancel(order=found, reason=request.POST.get("reason", "")[:200])
    return f"{found} is cancelled."


DEEDS: dict[str, tuple[str, Callable[[Any, PurchaseOrder], str]]] = {
    "approve": ("approvals:write", _approve),
    "place": ("purchases:write", _place),
    "mail": ("purchases:write", _mail),
    "confirm": ("purchases:write", _confirm),
    "close": ("purchases:write", _close),
    "cancel": ("purchases:write", _cancel),
}


def _whole(request: Any, name: str, usual: int) -> int:
    text = request.POST.get(name, "").strip()
    if not text:
        return usual
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        words = f"{name} is {text[:20]!r}; give a whole number."
        raise Invalid.one(name, "not_whole", words, value=text[:20])
    return int(text)


def _day(request: Any, name: str, usual: date | None) -> date | None:
    text = request.POST.get(name, "").strip()
    if not text:
        return usual
    try:
        return date.fromisoformat(text)
    except ValueError:
        words = f"{name} is {text[:20]!r}; give a day that exists, such as 2026-11-30."
        raise Invalid.one(name, "not_a_day", words, value=text[:20]) from None
