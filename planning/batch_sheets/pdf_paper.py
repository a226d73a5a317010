"""Paper for sheets: A4, black on white, figures 5 mm high, boxes to tick, codes to scan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fpdf import FPDF

FONTS = Path(__file__).resolve().parents[2] / "shared" / "static" / "fonts"
FACE = "Sheet"
LARGE_PT = 20
"""Digits of this face are 0.729 em high: 20 pt gives 5.1 mm."""
TEXT_PT = 10
SMALL_PT = 8.5
FINE_PT = 7.5
LINE_MM = 5.5
PADDING_MM = 1.2
HEADING_MM = 9.5
SIGNATURES_MM = 17
FOOT_MM = SIGNATURES_MM + 11
"""Lines to sign on, and the cautions beneath them."""
MARGIN_MM = 12
WIDTH_MM = 210 - 2 * MARGIN_MM


def paper(head: str) -> FPDF:
    """Return an empty document whose pages carry `head` and their number."""
    from fpdf import FPDF

    class Paper(FPDF):
        def header(self) -> None:
            self.set_font(FACE, "", SMALL_PT)
            self.cell(WIDTH_MM - 30, 5, head)
            self.cell(30, 5, f"Page {self.page_no()} of {{nb}}", align="R")
            self.ln(7)

    pdf = Paper(format="A4")
    pdf.set_margins(MARGIN_MM, 10)
    pdf.set_auto_page_break(True, 14)
    pdf.add_font(FACE, "", str(FONTS / "DejaVuSans.ttf"))
    pdf.add_font(FACE, "B", str(FONTS / "DejaVuSans-Bold.ttf"))
    pdf.set_line_width(0.3)
    return pdf


def text(pdf: FPDF, words: str, size: float = TEXT_PT, bold: bool = False) -> None:
    """Write words over the whole width, breaking lines where needed."""
    pdf.set_font(FACE, "B" if bold else "", size)
    pdf.multi_cell(WIDTH_MM, size * 0.5, words, align="L", new_x="LMARGIN", new_y="NEXT")


def heading(pdf: FPDF, words: str, room_mm: float = 30) -> None:
    """Write a heading with a rule beneath; on a new page when little room is left."""
    if pdf.will_page_break(room_mm):
        pdf.add_page()
    pdf.ln(1)
    text(pdf, words, 12, bold=True)
    pdf.line(MARGIN_MM, pdf.get_y(), MARGIN_MM + WIDTH_MM, pdf.get_y())
    pdf.ln(1)


def code(pdf: FPDF, address: str, x: float, y: float, size: float) -> None:
    """Draw a code to scan, with its quiet zone."""
    import segno

    matrix = [
        list(row) for row in segno.make(address, error="m", micro=False).matrix_iter(border=4)
    ]
    module = size / len(matrix)
    pdf.set_fill_color(0)
    for j, row in enumerate(matrix):
        for start, length in _runs(row):
            pdf.rect(x + start * module, y + j * module, length * module, module + 0.01, "F")


def _runs(row: Sequence[int]) -> list[tuple[int, int]]:
    """Return stretches of dark modules as (start, length)."""
    found: list[tuple[int, int]] = []
    for i, dark in enumerate(row):
        if not dark:
            continue
        if found and found[-1][0] + found[-1][1] == i:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((i, 1))
    return found


def tickbox(pdf: FPDF, x: float, y: float, size: float = 6) -> None:
    """Draw an empty box to tick."""
    pdf.set_line_width(0.5)
    pdf.rect(x, y, size, size)
    pdf.set_line_width(0.3)


def grid(
    pdf: FPDF,
    heads: Sequence[str],
    widths: Sequence[float],
    rows: Sequence[Sequence[Any]],
    large: Sequence[int] = (),
) -> None:
    """Draw a table; a cell that is None stays blank, to be written in. `large` columns are big."""
    from fpdf.fonts import FontFace

    big = FontFace(size_pt=LARGE_PT, emphasis="BOLD")
    pdf.set_font(FACE, "", TEXT_PT)
    with pdf.table(
        width=WIDTH_MM,
        col_widths=tuple(widths),
        line_height=LINE_MM,
        padding=PADDING_MM,
        text_align="LEFT",
        headings_style=FontFace(emphasis="BOLD", size_pt=SMALL_PT),
    ) as table:
        table.row(list(heads))
        for cells in rows:
            row = table.row(min_height=11 if large else None)
            for column, cell in enumerate(cells):
                words = "" if cell is None else str(cell)
                if column in large:
                    row.cell(words, style=big, align="R")
                else:
                    row.cell(words)
    pdf.ln(2)


def grid_height(
    pdf: FPDF, widths: Sequence[float], rows: Sequence[Sequence[Any]], large: Sequence[int] = ()
) -> float:
    """Return how high `grid` draws a table with its heads, mm."""
    scale = WIDTH_MM / sum(widths)
    height = LINE_MM + 2 * PADDING_MM
    for cells in rows:
        lines = 1
        for column, cell in enumerate(cells):
            big = column in large
            pdf.set_font(FACE, "B" if big else "", LARGE_PT if big else TEXT_PT)
            room = widths[column] * scale - 2 * PADDING_MM
            words = "" if cell is None else str(cell)
            found = pdf.multi_cell(room, LINE_MM, words, dry_run=True, output="LINES")
            assert isinstance(found, list)
            lines = max(lines, len(found))
        height += max(11.0 if large else 0.0, lines * LINE_MM + 2 * PADDING_MM)
    return height


def signatures(pdf: FPDF, labels: Sequence[str]) -> None:
    """Draw lines to sign on, side by side."""
    if pdf.will_page_break(SIGNATURES_MM):
        pdf.add_page()
    pdf.ln(9)
    gap = 6.0
    width = (WIDTH_MM - gap * (len(labels) - 1)) / len(labels)
    y = pdf.get_y()
    pdf.set_font(FACE, "", SMALL_PT)
    for i, label in enumerate(labels):
        x = MARGIN_MM + i * (width + gap)
        pdf.line(x, y, x + width, y)
        pdf.set_xy(x, y + 0.5)
        pdf.cell(width, 5, label)
    pdf.set_xy(MARGIN_MM, y + 7)
