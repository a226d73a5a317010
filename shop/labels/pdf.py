"""Labels of containers as PDF, for sheets and rolls."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import shared
from shared.errors import Invalid
from shop.labels.codes import data_matrix_picture, gs1_text, qr_picture
from shop.labels.layouts import Layout
from shop.lots.models import Container

FONTS = Path(shared.__path__[0]) / "static" / "fonts"
FACE = "Sans"
MOST = 500
EDGE_MM = 2.0
POINT_MM = 0.3528


def labels_pdf(
    containers: Sequence[Container],
    layout: Layout,
    address: Callable[[Container], str],
    *,
    first_place: int = 1,
) -> bytes:
    """
    Return a PDF with one label for each container.

    Parameters
    ----------
    containers : sequence of Container
        With lot, material and location; at most 500.
    layout : Layout
        Sheet or roll.
    address : callable
        Gives the address of a container's page, which the QR code holds.
    first_place : int
        On a sheet that was begun, the first free label, counted from 1.
    """
    if not containers or len(containers) > MOST:
        words = f"{len(containers)} labels are asked; print 1 to {MOST} at a time."
        raise Invalid.one("containers", "count", words, value=len(containers), limit=MOST)
    if not 1 <= first_place <= layout.on_a_page:
        words = f"first_place is {first_place}; the sheet has 1 to {layout.on_a_page}."
        raise Invalid.one("first_place", "out_of_range", words, limit=layout.on_a_page)
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=layout.page_mm)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    pdf.add_font(FACE, "", str(FONTS / "DejaVuSans.ttf"))
    pdf.add_font(FACE, "B", str(FONTS / "DejaVuSans-Bold.ttf"))
    for n, container in enumerate(containers, first_place - 1):
        if n % layout.on_a_page == 0 or n == first_place - 1:
            pdf.add_page()
        _label(pdf, container, layout, layout.corner_mm(n), address(container))
    return bytes(pdf.output())


def _label(
    pdf: Any, container: Container, layout: Layout, corner: tuple[float, float], address: str
) -> None:
    left, top = corner[0] + EDGE_MM, corner[1] + EDGE_MM
    width, height = (side - 2 * EDGE_MM for side in layout.label_mm)
    bracketed = gs1_text(container)
    side = min(height * 0.62, width * 0.34, 26.0)
    pdf.image(qr_picture(address), left, top, side, side)
    text_left, text_width = left + side + 1.5, width - side - 1.5
    if bracketed:
        small = min(height - side, side * 0.8)
        pdf.image(data_matrix_picture(bracketed), left, top + side, small, small)
    lines = _lines(container)
    size = min(11.0, height / (len(lines) + 1) / POINT_MM * 0.82)
    for n, (words, bold) in enumerate(lines):
        _fitted(pdf, words, "B" if bold else "", size, text_width)
        pdf.set_xy(text_left, top + n * size * POINT_MM * 1.22)
        pdf.cell(text_width, size * POINT_MM, words)


def _fitted(pdf: Any, words: str, style: str, size: float, width: float) -> None:
    """Choose the largest size at which a line fits; a long name is small, never cut."""
    pdf.set_font(FACE, style, size)
    needed = pdf.get_string_width(words)
    if needed > width:
        pdf.set_font(FACE, style, max(size * width / needed * 0.98, 2.5))


def _lines(container: Container) -> list[tuple[str, bool]]:
    lot, material = container.lot, container.lot.material
    until = f"Use by {lot.expires_on.isoformat()}" if lot.expires_on else "Does not expire"
    lines = [
        (material.name, True),
        (f"Lot {lot.code}", True),
        (container.code, False),
        (until, True),
    ]
    if material.open_life_days:
        opened = container.opened_at.date().isoformat() if container.opened_at else "__________"
        lines.append((f"Opened {opened}, keeps {material.open_life_days} d", False))
    if container.location:
        lines.append((container.location.name, False))
    if material.hazard_statements:
        codes = " ".join(material.hazard_statements)
        lines.append((f"{material.signal_word or 'Hazard'}: {codes}", False))
    return lines
