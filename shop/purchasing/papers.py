"""A purchase order on paper."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import shared
from shared import clock
from shop.purchasing import queries
from shop.purchasing.models import COMING, OrderStatus, PurchaseOrder

if TYPE_CHECKING:
    from fpdf import FPDF

FONTS = Path(shared.__path__[0]) / "static" / "fonts"
FACE = "Order"
MARGIN_MM = 15
HEADS = ("Material", "Your item", "Packs", "Quantity", "Wanted on", "Price per pack", "Price")
WIDTHS = (48, 26, 26, 22, 22, 20, 16)


def order_pdf(order: PurchaseOrder) -> bytes:
    """Return the order as a PDF of A4 pages, prices included: it goes to the supplier."""
    pdf = _paper(order)
    _text(pdf, f"Purchase order {order.number}", 18, bold=True)
    day = clock.local(order.ordered_at or clock.now(), order.site).date()
    _text(pdf, f"Written on {day.isoformat()}. Please quote {order.number} in every answer.")
    _parties(pdf, order)
    if order.status not in (*COMING[1:], OrderStatus.RECEIVED, OrderStatus.CLOSED):
        _text(pdf, f"NOT AN ORDER YET: {order.get_status_display().lower()}.", 12, bold=True)
    pdf.ln(3)
    _table(pdf, order)
    pdf.ln(4)
    if order.remarks:
        _text(pdf, order.remarks)
    for words in _asked(order):
        _text(pdf, words)
    return bytes(pdf.output())


def _parties(pdf: FPDF, order: PurchaseOrder) -> None:
    """Print who orders, who delivers and where to, side by side."""
    site, supplier = order.site, order.supplier
    account = f"Our customer number: {supplier.our_account}" if supplier.our_account else ""
    tax = f"Tax number: {site.tax_number}" if site.tax_number else ""
    blocks = (
        ("To", supplier.name, supplier.address, supplier.contact, account),
        ("From, and bill to", site.legal_name or site.name, site.address, site.contact, tax),
        ("Deliver to", site.name, site.delivery_address or site.address),
    )
    cells = ["\n".join(filter(None, lines)) for _, *lines in blocks]
    pdf.set_font(FACE, "", 9)
    with pdf.table(
        col_widths=(1, 1, 1), text_align="LEFT", line_height=4.5, padding=1.5, v_align="TOP"
    ) as table:
        table.row([head for head, *_ in blocks])
        table.row(cells)


def _asked(order: PurchaseOrder) -> Iterator[str]:
    """Yield what the order asks of the supplier besides the goods."""
    if order.supplier.terms:
        yield f"Terms: {order.supplier.terms}"
    lines = list(order.lines.select_related("material", "order__supplier").order_by("id"))
    asked = {line.life_asked for line in lines}
    for line in lines:
        goods = "the goods arrive" if len(asked) == 1 else f"{line.material.name} arrives"
        if line.life_asked is not None:
            yield (
                f"At least {line.life_asked} days of shelf life must be left on the day {goods}; "
                "what has less may be sent back."
            )
        if len(asked) == 1:
            break
    yield (
        "Please confirm the days, and print lot and expiry on every container. Send the safety "
        "data sheet with the first delivery and after each change."
    )


def _paper(order: PurchaseOrder) -> FPDF:
    from fpdf import FPDF

    class Paper(FPDF):
        def footer(self) -> None:
            self.set_y(-12)
            self.set_font(FACE, "", 8)
            self.cell(0, 5, f"{order.number}, page {self.page_no()} of {{nb}}", align="R")

    pdf = Paper(format="A4")
    pdf.set_margins(MARGIN_MM, MARGIN_MM)
    pdf.set_auto_page_break(True, 18)
    pdf.add_font(FACE, "", str(FONTS / "DejaVuSans.ttf"))
    pdf.add_font(FACE, "B", str(FONTS / "DejaVuSans-Bold.ttf"))
    pdf.add_page()
    return pdf


def _text(pdf: FPDF, words: str, size: float = 10, *, bold: bool = False) -> None:
    pdf.set_font(FACE, "B" if bold else "", size)
    pdf.multi_cell(0, size * 0.5, words, align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)


def _table(pdf: FPDF, order: PurchaseOrder) -> None:
    pdf.set_font(FACE, "", 8)
    with pdf.table(col_widths=WIDTHS, text_align="LEFT", line_height=5, padding=1) as table:
        table.row(HEADS)
        for line in order.lines.select_related("material").order_by("id"):
            table.row(
                (
                    f"{line.material.name} ({line.material.code})",
                    line.supplier_item or "",
                    f"{line.packs} × {line.pack_name}",
                    f"{line.quantity.normalize():f} {line.material.unit}",
                    line.expected_on.isoformat(),
                    _money(line.pack_price),
                    _money(line.cost),
                )
            )
        total = queries.goods_cost(order)
        if total is not None:
            table.row(("Total without tax", "", "", "", "", order.currency, _money(total)))


def _money(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:.2f}"
