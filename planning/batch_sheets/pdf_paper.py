"""Paper for sheets: A4, black on white, figures 5 mm high, boxes to tick, codes to scan."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fpdf import FPDF

    class Paper(FPDF):
        """What `paper` returns; there only for the types, as the library is imported late."""

        measured: dict[tuple[str, float, float, bool], int]

        def begin(self, subject: str) -> None:
            """Begin a subject on a new page."""

        def page_of(self, subject: str) -> str:
            """Return the page a subject begins on, a dash while that is not known."""


FONTS = Path(__file__).resolve().parents[2] / "shared" / "static" / "fonts"
FACE = "Sheet"
LARGE_PT = 20
"""Digits of this face are 0.729 em high: 20 pt gives 5.1 mm."""
TEXT_PT = 10
CELL_PT = 9
SMALL_PT = 8.5
FINE_PT = 7
EMERGENCY_PT = 10
"""What is read in a hurry, perhaps with wet eyes."""
LINE_FACTOR = 0.40
"""Height of a line in a table, mm for a point of its letters."""
PADDING_MM = 0.8
MOST_LINES = 2
"""A cell that needs more at its size is written smaller; a long name is never cut."""
TEXT_FACTOR = 0.40
"""Height of a line of running text, mm for a point of its letters."""
ROW_MM = 10.0
"""Least height of a row that is written into by hand."""
HEADING_MM = 7
SIGNATURES_MM = 13
REMARK_MM = 8
WRITE_MM = SIGNATURES_MM + REMARK_MM
MARGIN_MM = 12
TOP_MM = 8
BOTTOM_MM = 9
WIDTH_MM = 210 - 2 * MARGIN_MM
BESIDE_CODE_MM = 158


@lru_cache(maxsize=1)
def _paper_class() -> Any:
    """Return the class of documents; a function, because the library is slow to import."""
    from fpdf import FPDF

    class Paper(FPDF):
        head = subject = ""
        part = 0
        counted: Any = None

        def __init__(self, **more: Any) -> None:
            super().__init__(**more)
            self.first: dict[str, int] = {}
            self.parts: dict[str, int] = {}

        def begin(self, subject: str) -> None:
            self.subject, self.part = subject, 0
            self.add_page()
            self.first[subject] = self.page_no()

        def page_of(self, subject: str) -> str:
            known = {} if self.counted is None else self.counted.first
            return str(known.get(subject, "–"))

        def header(self) -> None:
            self.part += 1
            self.parts[self.subject] = self.part
            of = self.part if self.counted is None else self.counted.parts[self.subject]
            self.set_font(FACE, "B", SMALL_PT)
            mine = f"{self.subject}, page {self.part} of {of}"
            self.cell(54, 5, mine)
            self.set_font(FACE, "", FINE_PT)
            self.cell(WIDTH_MM - 78, 5, cut(self, self.head, WIDTH_MM - 80), align="C")
            self.set_font(FACE, "", SMALL_PT)
            self.cell(24, 5, f"Page {self.page_no()} of {{nb}}", align="R")
            self.ln(6)

    return Paper


def paper(head: str, counted: Paper | None = None) -> Paper:
    """
    Return an empty document whose pages carry their subject, its pages, `head` and their number.

    `counted` is the same document laid out before, from which the counts of pages are taken.
    """
    pdf = _paper_class()(format="A4")
    pdf.head, pdf.counted = head, counted
    pdf.measured = {} if counted is None else counted.measured
    pdf.set_margins(MARGIN_MM, TOP_MM)
    pdf.set_auto_page_break(True, BOTTOM_MM)
    pdf.add_font(FACE, "", str(FONTS / "DejaVuSans.ttf"))
    pdf.add_font(FACE, "B", str(FONTS / "DejaVuSans-Bold.ttf"))
    pdf.set_line_width(0.3)
    document: Paper = pdf
    return document


def cut(pdf: FPDF, words: str, width: float) -> str:
    """Shorten words that are only a help to find the paper again to a width, with a mark."""
    if pdf.get_string_width(words) <= width:
        return words
    while words and pdf.get_string_width(f"{words}…") > width:
        words = words[:-1]
    return f"{words.rstrip()}…"


def text(
    pdf: FPDF, words: str, size: float = TEXT_PT, bold: bool = False, width: float = WIDTH_MM
) -> None:
    """Write words over a width, breaking lines where needed."""
    pdf.set_font(FACE, "B" if bold else "", size)
    pdf.multi_cell(width, size * TEXT_FACTOR, words, align="L", new_x="LMARGIN", new_y="NEXT")


def named_text(pdf: FPDF, name: str, words: str, size: float) -> None:
    """Write the shop's own words over the width of the page, their name before them in bold."""
    pdf.set_font(FACE, "", size)
    marked = f"**{name}:** {words}"
    height = size * TEXT_FACTOR
    pdf.multi_cell(
        WIDTH_MM, height, marked, align="L", markdown=True, new_x="LMARGIN", new_y="NEXT"
    )


def lines_of(
    pdf: Paper, words: str, size: float, width: float = WIDTH_MM, bold: bool = False
) -> int:
    """Return on how many lines words go; each question is asked of the library once."""
    key = (words, size, round(width, 2), bold)
    if key not in pdf.measured:
        pdf.set_font(FACE, "B" if bold else "", size)
        # Near the foot of a page a question would begin a new one, and count it.
        pdf.set_auto_page_break(False, BOTTOM_MM)
        found = pdf.multi_cell(width, 5, words, align="L", dry_run=True, output="LINES")
        pdf.set_auto_page_break(True, BOTTOM_MM)
        assert isinstance(found, list)
        pdf.measured[key] = max(1, len(found))
    return pdf.measured[key]


def heading(pdf: FPDF, words: str, room_mm: float = 30) -> None:
    """Write a heading with a rule beneath; on a new page when little room is left."""
    if pdf.will_page_break(room_mm):
        pdf.add_page()
    pdf.ln(0.6)
    text(pdf, words, 10.5, bold=True)
    pdf.line(MARGIN_MM, pdf.get_y(), MARGIN_MM + WIDTH_MM, pdf.get_y())
    pdf.ln(0.6)


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
    pdf: Paper,
    heads: Sequence[str],
    widths: Sequence[float],
    rows: Sequence[Sequence[Any]],
    large: Sequence[int] = (),
    size: float = TEXT_PT,
) -> None:
    """Draw a table; a cell that is None stays blank, to be written in. `large` columns are big."""
    from fpdf.fonts import FontFace

    big = FontFace(size_pt=LARGE_PT, emphasis="BOLD")
    small = FontFace(size_pt=FINE_PT)
    pdf.set_font(FACE, "", size)
    with pdf.table(
        width=WIDTH_MM,
        col_widths=tuple(widths),
        line_height=size * LINE_FACTOR,
        padding=PADDING_MM,
        text_align="LEFT",
        headings_style=FontFace(emphasis="BOLD", size_pt=SMALL_PT),
    ) as table:
        table.row(list(heads))
        for cells in rows:
            row = table.row(min_height=ROW_MM if large else None)
            for column, cell in enumerate(cells):
                words = "" if cell is None else str(cell)
                if column in large:
                    row.cell(words, style=big, align="R")
                elif _size_of(pdf, words, widths[column], size) != size:
                    row.cell(words, style=small)
                else:
                    row.cell(words)
    pdf.ln(1)


def _size_of(pdf: Paper, words: str, width: float, size: float) -> float:
    """Return the size a cell is written at."""
    room = width - 2 * PADDING_MM - 0.2
    return size if lines_of(pdf, words, size, room) <= MOST_LINES else FINE_PT


def grid_height(
    pdf: Paper,
    widths: Sequence[float],
    rows: Sequence[Sequence[Any]],
    large: Sequence[int] = (),
    size: float = TEXT_PT,
) -> float:
    """Return how high `grid` draws a table with its heads, mm."""
    scale = WIDTH_MM / sum(widths)
    line = size * LINE_FACTOR
    height = line + 2 * PADDING_MM
    for cells in rows:
        lines = 1
        for column, cell in enumerate(cells):
            big = column in large
            words = "" if cell is None else str(cell)
            own = LARGE_PT if big else _size_of(pdf, words, widths[column], size)
            room = widths[column] * scale - 2 * PADDING_MM
            lines = max(lines, lines_of(pdf, words, own, room, big))
        height += max(ROW_MM if large else 0.0, lines * line + 2 * PADDING_MM)
    return height


def signatures(pdf: FPDF, labels: Sequence[str]) -> None:
    """Draw lines to sign on, side by side."""
    pdf.ln(SIGNATURES_MM - 5)
    gap = 6.0
    width = (WIDTH_MM - gap * (len(labels) - 1)) / len(labels)
    y = pdf.get_y()
    pdf.set_font(FACE, "", FINE_PT)
    for i, label in enumerate(labels):
        x = MARGIN_MM + i * (width + gap)
        pdf.line(x, y, x + width, y)
        pdf.set_xy(x, y + 0.5)
        pdf.cell(width, 3.5, label)
    pdf.set_xy(MARGIN_MM, y + 5)


def blank_line(pdf: FPDF, label: str) -> None:
    """Draw a line to write on, over the whole width."""
    y = pdf.get_y() + REMARK_MM - 1.5
    pdf.set_xy(MARGIN_MM, y - 4)
    pdf.set_font(FACE, "", SMALL_PT)
    pdf.cell(40, 4, label)
    pdf.line(MARGIN_MM + 36, y, MARGIN_MM + WIDTH_MM, y)
    pdf.set_xy(MARGIN_MM, y + 1.5)
