"""
A workbook, written line by line as Office Open XML (ISO/IEC 29500-1, SpreadsheetML).

Only values: numbers, days and text. Lines go into the archive as they come, so a table of a year
of days needs no more memory than one of a week, and nothing has to be loaded to write it.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import IO, Any
from xml.sax.saxutils import escape, quoteattr
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from shared.errors import Invalid

_MOST_CELL_CHARACTERS = 32_767
"""Longest text of a cell that spreadsheet programs take (from memory, not opened)."""
_MOST_LINES = 1_048_576
"""Most lines of a sheet, its head included (from memory, not opened)."""
_DAY_ZERO = date(1899, 12, 30).toordinal()
"""Day 0 of the 1900 date base as spreadsheets count from March 1900 (29500-1, 18.17.4.1)."""
_FIRST_DAY = date(1900, 3, 1)
_PLAIN, _HEAD, _DAY = 0, 1, 2
"""Places of the three cell formats in the style sheet."""
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff\ud800-\udfff]")
"""What XML 1.0 has no way to write (2.2), and the carriage return, which no cell needs."""
_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_MADE = (1980, 1, 1, 0, 0, 0)
"""Time of every part, so that the same table gives the same bytes."""

_TYPES = (
    f'{_XML}<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_KIND}.sheet.main+xml"/>'
    f'<Override PartName="/xl/styles.xml" ContentType="{_KIND}.styles+xml"/>'
)
_ROOT_LINKS = (
    f'{_XML}<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="r1" Type="{_LINKS}/officeDocument" Target="xl/workbook.xml"/>'
    "</Relationships>"
)
_STYLES = (
    f'{_XML}<styleSheet xmlns="{_MAIN}">'
    '<numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd"/></numFmts>'
    '<fonts count="2"><font><sz val="11"/></font><font><b/><sz val="11"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill></fills>'
    '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    '<cellXfs count="3"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    '<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/>'
    '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '</cellXfs><cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/>'
    "</cellStyles></styleSheet>"
)
_SHEET_HEAD = (
    f'{_XML}<worksheet xmlns="{_MAIN}"><sheetViews><sheetView workbookViewId="0">'
    '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>'
    '</sheetView></sheetViews><sheetFormatPr defaultRowHeight="15"/><cols>'
)


@dataclass(frozen=True)
class SheetRows:
    """One sheet: its title, the names of its columns, its rows and how wide its columns are."""

    title: str
    heads: Sequence[str]
    rows: Iterable[Sequence[Any]]
    widths: Sequence[int]


def one_sheet(
    title: str, heads: Sequence[str], rows: Iterable[Sequence[Any]], *, widths: Sequence[int]
) -> bytes:
    """
    Return a workbook of one sheet with a bold first line that stays in sight.

    Parameters
    ----------
    title : str
        Name of the sheet; signs that may not stand in one are left out, 31 are kept.
    heads : sequence of str
        Names of the columns.
    rows : iterable of sequences
        `str`, `int`, `float`, `decimal.Decimal`, `datetime.date` or None; text is never a formula.
    widths : sequence of int
        Widths of the columns, in characters.

    Raises
    ------
    Invalid
        More lines than a sheet has.
    """
    return book([SheetRows(title, heads, rows, widths)])


def book(sheets: Sequence[SheetRows]) -> bytes:
    """Return a workbook of these sheets, each as `one_sheet` says; titles must differ."""
    numbers = range(1, len(sheets) + 1)
    listed = "".join(
        f'<sheet name={quoteattr(_title(one.title))} sheetId="{n}" r:id="s{n}"/>'
        for n, one in zip(numbers, sheets, strict=True)
    )
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{_KIND}.worksheet+xml"/>'
        for n in numbers
    )
    links = "".join(
        f'<Relationship Id="s{n}" Type="{_LINKS}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n in numbers
    )
    parts = (
        ("[Content_Types].xml", f"{_TYPES}{types}</Types>"),
        ("_rels/.rels", _ROOT_LINKS),
        (
            "xl/workbook.xml",
            f'{_XML}<workbook xmlns="{_MAIN}" xmlns:r="{_LINKS}"><sheets>{listed}</sheets>'
            "</workbook>",
        ),
        (
            "xl/_rels/workbook.xml.rels",
            f'{_XML}<Relationships xmlns="{_PACKAGE}/relationships">{links}'
            f'<Relationship Id="r0" Type="{_LINKS}/styles" Target="styles.xml"/></Relationships>',
        ),
        ("xl/styles.xml", _STYLES),
    )
    out = io.BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED, compresslevel=3) as archive:
        for name, text in parts:
            with archive.open(_part(name), "w") as part:
                part.write(text.encode())
        for n, one in zip(numbers, sheets, strict=True):
            with archive.open(_part(f"xl/worksheets/sheet{n}.xml"), "w") as part:
                _write_sheet(part, one.heads, one.rows, one.widths)
    return out.getvalue()


def _title(text: str) -> str:
    return "".join(c for c in _legible(text) if c not in r"[]:*?/\'")[:31] or "Table"


def _part(name: str) -> ZipInfo:
    part = ZipInfo(name, _MADE)
    part.compress_type = ZIP_DEFLATED
    return part


def _write_sheet(
    part: IO[bytes], heads: Sequence[str], rows: Iterable[Sequence[Any]], widths: Sequence[int]
) -> None:
    columns = "".join(
        f'<col min="{n}" max="{n}" width="{width}" customWidth="1"/>'
        for n, width in enumerate(widths, 1)
    )
    head = "".join(_text(name, _HEAD) for name in heads)
    part.write(f"{_SHEET_HEAD}{columns}</cols><sheetData><row>{head}</row>".encode())
    known: dict[str, str] = {}
    """Cells of texts that were written before: codes and units stand in many lines."""
    lines: list[str] = []
    for n, row in enumerate(rows, 2):
        if n > _MOST_LINES:
            raise Invalid.one(
                "table",
                "too_long",
                f"The table has more than {_MOST_LINES - 1:,} lines, the most a sheet holds; take "
                "it as CSV, or ask for less.",
                limit=_MOST_LINES - 1,
                unit="lines",
            )
        lines.append(f"<row>{''.join([_cell(value, known) for value in row])}</row>")
        if len(lines) == 1000:
            part.write("".join(lines).encode())
            lines.clear()
    part.write(f"{''.join(lines)}</sheetData></worksheet>".encode())


def _cell(value: Any, known: dict[str, str]) -> str:
    """Write one cell; its place follows from the cells before it, so none is left out."""
    if value is None:
        return "<c/>"
    if isinstance(value, Decimal):
        return f"<c><v>{value:f}</v></c>" if value.is_finite() else "<c/>"
    if isinstance(value, float | int) and not isinstance(value, bool):
        return f"<c><v>{value!r}</v></c>" if math.isfinite(value) else "<c/>"
    if type(value) is date and value >= _FIRST_DAY:
        return f'<c s="{_DAY}"><v>{value.toordinal() - _DAY_ZERO}</v></c>'
    text = str(value)
    if text not in known:
        if len(known) > 10_000:
            known.clear()
        known[text] = _text(text, _PLAIN)
    return known[text]


def _legible(text: str) -> str:
    return _CONTROL.sub("", text)


def _text(text: str, style: int) -> str:
    words = escape(_legible(text[:_MOST_CELL_CHARACTERS]))
    return f'<c s="{style}" t="inlineStr"><is><t xml:space="preserve">{words}</t></is></c>'
