"""Tables for other programs: CSV (RFC 4180) and spreadsheets, safe to open."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal

Kind = Literal["text", "number", "day"]
DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\0")
"""A cell that begins so may be run as a formula (OWASP ASVS 5.0, 1.2.10; CR added here)."""
_MOST_CELL_CHARACTERS = 32_767


@dataclass(frozen=True)
class Column:
    """Name with its unit, such as `projected_kg`, and what stands in it."""

    name: str
    kind: Kind = "text"


def guarded(value: Any, kind: Kind) -> str:
    """
    Write a value as a CSV cell; text that a spreadsheet would run begins with an apostrophe.

    Columns that the service itself typed as numbers stay numbers, signs included.
    """
    if value is None:
        return ""
    if isinstance(value, datetime | date):
        return value.isoformat()
    text = format(value, "f") if isinstance(value, Decimal) else str(value)
    if kind == "text" and text.startswith(DANGEROUS):
        return f"'{text}"
    return text


def csv_bytes(
    columns: Sequence[Column], rows: Iterable[Sequence[Any]], *, mark: bool = False
) -> bytes:
    """Return UTF-8 CSV with CRLF; `mark` puts the byte-order mark that spreadsheets look for."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.name for column in columns])
    for row in rows:
        writer.writerow([guarded(value, c.kind) for value, c in zip(row, columns, strict=True)])
    return out.getvalue().encode("utf-8-sig" if mark else "utf-8")


def xlsx_bytes(title: str, columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> bytes:
    """Return a workbook of one sheet: values only, text is never a formula."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    sheet = book.create_sheet("".join(c for c in title if c not in r"[]:*?/\\")[:31] or "Table")
    sheet.freeze_panes = "A2"
    head = []
    for column in columns:
        cell = WriteOnlyCell(sheet, column.name)
        cell.font = Font(bold=True)
        head.append(cell)
    sheet.append(head)
    for row in rows:
        cells = []
        for value, column in zip(row, columns, strict=True):
            cells.append(_cell(sheet, value, column, WriteOnlyCell))
        sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _cell(sheet: Any, value: Any, column: Column, make: Any) -> Any:
    if value is None or column.kind != "text":
        return make(sheet, value)
    text = "".join(c for c in str(value) if c >= " " or c in "\t\n")[:_MOST_CELL_CHARACTERS]
    cell = make(sheet, text)
    cell.data_type = "s"
    return cell
