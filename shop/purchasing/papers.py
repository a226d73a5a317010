"""A purchase order on paper."""

from __future__ import annotations

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
    _text(pdf, f"To {order.supplier.name}. From {order.site.name}. Written on {day.isoformat()}.")
    if order.status not in (*COMING[1:], OrderStatus.RECEIVED, OrderStatus.CLOSED):
        _text(pdf, f"NOT AN ORDER YET: {order.get_status_display().lower()}.", 12, bold=True)
    pdf.ln(3)
    _table(pdf, order)
    pdf.ln(4)
    if order.remarks:
        _text(pdf, order.remarks)
    _text(
        pdf,
        f"Please quote {order.number}, confirm the days, and print lot and expiry on every "
        "container. Send the safety data sheet with the first delivery and after each change.",
    )
    return bytes(pdf.output())


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
