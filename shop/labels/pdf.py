"""Labels of containers, tools, shelves and places as PDF, for sheets and rolls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shared
from shared.codes.finding import code_of, path_to
from shared.errors import Invalid
from shop.labels.codes import data_matrix_picture, gs1_text, qr_picture
from shop.labels.layouts import Layout
from shop.lots.models import Container

FONTS = Path(shared.__path__[0]) / "static" / "fonts"
FACE = "Sans"
MOST = 500
EDGE_MM = 2.0
POINT_MM = 0.3528


@dataclass(frozen=True)
class Label:
    """What stands on a label: an address as QR code, lines (words, bold), GS1 data if any."""

    address: str
    short: str
    lines: tuple[tuple[str, bool], ...]
    gs1: str | None = None


def can_label(container: Container, base: str) -> Label:
    """Return the label of a container; `base` is the shop's address without a slash at the end."""
    return Label(
        f"{base}{path_to('can', container.pk)}",
        code_of("can", container.pk),
        tuple(_lines(container)),
        gs1_text(container),
    )


def plain_label(kind: str, pk: int, code: str, name: str, base: str) -> Label:
    """Return the label of a tool, shelf or place."""
    lines = ((name, True), (f"{kind.capitalize()} {code}", False))
    return Label(f"{base}{path_to(kind, pk)}", code_of(kind, pk), lines)


def labels_pdf(labels: Sequence[Label], layout: Layout, *, first_place: int = 1) -> bytes:
    """
    Return a PDF with one label after the other.

    Parameters
    ----------
    labels : sequence of Label
        At most 500.
    layout : Layout
        Sheet or roll.
    first_place : int
        On a sheet that was begun, the first free label, counted from 1.
    """
    if not labels or len(labels) > MOST:
        words = f"{len(labels)} labels are asked; print 1 to {MOST} at a time."
        raise Invalid.one("containers", "count", words, value=len(labels), limit=MOST)
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
    for n, label in enumerate(labels, first_place - 1):
        if n % layout.on_a_page == 0 or n == first_place - 1:
            pdf.add_page()
        _label(pdf, label, layout, layout.corner_mm(n))
    return bytes(pdf.output())


def _label(pdf: Any, label: Label, layout: Layout, corner: tuple[float, float]) -> None:
    left, top = corner[0] + EDGE_MM, corner[1] + EDGE_MM
    width, height = (side - 2 * EDGE_MM for side in layout.label_mm)
    side = min(height * 0.62, width * 0.34, 26.0)
    pdf.image(qr_picture(label.address), left, top, side, side)
    text_left, text_width = left + side + 1.5, width - side - 1.5
    if label.gs1:
        small = min(height - side, side * 0.8)
        pdf.image(data_matrix_picture(label.gs1), left, top + side, small, small)
    lines = [*label.lines, (label.short, True)]
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
