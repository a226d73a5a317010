"""Tables for other programs: CSV (RFC 4180) and spreadsheets, safe to open."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal

from django.http import Http404, HttpResponse

from shared.workbook import one_sheet

Kind = Literal["text", "number", "day"]
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\0")
"""A cell that begins so may be run as a formula (OWASP ASVS 5.0, 1.2.10; CR added here)."""


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
    kinds = [column.kind for column in columns]
    typed = ([_typed(value, kind) for value, kind in zip(row, kinds, strict=True)] for row in rows)
    names = [column.name for column in columns]
    return one_sheet(title, names, typed, widths=[max(12, len(name) + 2) for name in names])


def _typed(value: Any, kind: Kind) -> Any:
    return str(value) if kind == "text" and value is not None else value


def download(
    name: str, form: str, columns: Sequence[Column], rows: Iterable[Sequence[Any]]
) -> HttpResponse:
    """Answer a table as a file: ``csv`` or ``xlsx``; any other form is not found."""
    if form == "csv":
        body, kind = csv_bytes(columns, rows, mark=True), "text/csv; charset=utf-8"
    elif form == "xlsx":
        body, kind = xlsx_bytes(name, columns, rows), XLSX
    else:
        raise Http404(f"There is no table as {form}; csv and xlsx are made.")
    answer = HttpResponse(body, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return answer
