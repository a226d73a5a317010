"""Pages of purchase orders: the list, one order with what may be done to it, its PDF."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from shared import clock, lists
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shared.mail.backend import is_on
from shop import page_forms as forms
from shop.materials.models import Pack
from shop.page_buttons import do
from shop.purchasing import actions, mailing, papers, queries
from shop.purchasing.models import OrderStatus, PurchaseOrder, PurchaseOrderLine

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
    listed = lists.found(
        request,
        rows,
        search=("number", "supplier__name", "supplier__code"),
        orders=(
            ("", "latest first", ("-created_at", "-id")),
            ("number", "number", ("number",)),
            ("supplier", "supplier", ("supplier__name", "number")),
        ),
    )
    return render(
        request,
        "shop/purchasing/orders.html",
        {
            "page": listed.page,
            "found": listed,
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
    """Write a draft by hand, for what no plan asks for; more lines are added on its page."""
    try:
        pack, line = _hand_line(request, queries.packs_on_offer())
        found = actions.draft(
            site=request.site, supplier=pack.supplier, lines=[line], by=request.user
        )
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
        return redirect("purchase-orders")
    messages.success(request, f"{found} is written down as a draft; approve it to go on.")
    return redirect("purchase-order", found.pk)


def _hand_line(request: Any, offered: QuerySet[Pack]) -> tuple[Pack, actions.NewLine]:
    """Return the line that was typed, at the price of so many packs."""
    pack = forms.chosen(request.POST, "pack", offered)
    if pack is None:
        raise Invalid.one("pack", "required", "pack is empty; choose one of the list.")
    count = forms.whole(request.POST, "packs", MOST_PACKS, pack.least_packs)
    return pack, actions.NewLine(
        material=pack.material,
        pack_name=pack.name,
        content=pack.content,
        packs=count,
        expected_on=forms.day(request.POST, "expected_on") or clock.today(request.site),
        pack_price=queries.pack_price(pack, count),
        supplier_item=pack.supplier_item,
    )


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
            "mail_on": is_on(),
            "cost": cost,
            "packs": queries.packs_on_offer().filter(supplier=found.supplier_id)
            if found.status == OrderStatus.DRAFT
            else [],
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
def button(request: Any, pk: int, button: str) -> HttpResponse:
    """Do one thing to an order, as its button says."""
    return do(request, BUTTONS, button, _order(request, pk), ("purchase-order", pk))


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


def _add(request: Any, found: PurchaseOrder) -> str:
    own = queries.packs_on_offer().filter(supplier=found.supplier_id)
    pack, line = _hand_line(request, own)
    actions.add_to_draft(order=found, line=line)
    return f"{line.packs} × {pack.name} {pack.material} is on {found}."


def _drop(request: Any, found: PurchaseOrder) -> str:
    line = forms.chosen(request.POST, "line", found.lines.select_related("material"))
    if line is None:
        raise Invalid.one("line", "required", "line is missing; choose one of the order.")
    actions.drop_from_draft(order=found, line=line)
    return f"{line} is off {found}."


def _confirm(request: Any, found: PurchaseOrder) -> str:
    post = request.POST

    def answer(line: PurchaseOrderLine) -> actions.Answer:
        # Told of by the material's name: a form of several lines numbers its fields.
        of = f"of {line.material}"
        typed = {
            f"packs {of}": post.get(f"packs-{line.pk}", "").strip(),
            f"due_on {of}": post.get(f"due-{line.pk}", ""),
        }
        packs = (
            forms.whole(typed, f"packs {of}", MOST_PACKS, least=0)
            if typed[f"packs {of}"]
            else line.packs
        )
        return actions.Answer(packs, forms.day(typed, f"due_on {of}") or line.due_on)

    answers = {line.pk: answer(line) for line in found.lines.all()}
    actions.confirm(order=found, reference=forms.text(post, "reference", 80), answers=answers)
    return f"{found} is confirmed by the supplier."


def _close(request: Any, found: PurchaseOrder) -> str:
    actions.close(order=found, reason=forms.text(request.POST, "reason"))
    return f"{found} is closed."


def _cancel(request: Any, found: PurchaseOrder) -> str:
    actions.cancel(order=found, reason=forms.text(request.POST, "reason"))
    return f"{found} is cancelled."


BUTTONS: dict[str, tuple[str, Callable[[Any, PurchaseOrder], str]]] = {
    "approve": ("approvals:write", _approve),
    "add": ("purchases:write", _add),
    "drop": ("purchases:write", _drop),
    "place": ("purchases:write", _place),
    "mail": ("purchases:write", _mail),
    "confirm": ("purchases:write", _confirm),
    "close": ("purchases:write", _close),
    "cancel": ("purchases:write", _cancel),
}
