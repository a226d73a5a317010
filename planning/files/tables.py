"""A file as the tables in it: a workbook, one CSV, or CSV files in an archive."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass
from typing import Any

from planning.files.cells import BadCell, read_cell
from planning.files.columns import Sheet
from planning.files.sheets import BY_NAME, COLUMNS_SHEET
from shared.csv_rows import text_of
from shared.errors import FieldProblem, Invalid, file_too_large
from shared.export import DANGEROUS
from shared.workbook_reading import MOST_BYTES, MOST_UNPACKED_BYTES, Line, read_book

MOST_ROWS = 5_000
"""Rows of one sheet."""
SIGNATURE = b"PK\x03\x04"


@dataclass(frozen=True)
class Row:
    """One row of a sheet: its number there, and what the API takes for each cell with anything."""

    line: int
    values: dict[str, Any]


@dataclass(frozen=True)
class Table:
    """The rows of one sheet; those with a bad cell are left out, and the problems say why."""

    sheet: Sheet
    rows: list[Row]
    problems: list[FieldProblem]
    columns: frozenset[str] = frozenset()
    """Columns that the first row names."""
    spoilt: frozenset[Any] = frozenset()
    """First key of rows that are left out, so that rows that name them are not blamed as well."""


def read_file(data: bytes, name: str, sheet: str = "") -> dict[str, Table]:
    """
    Return the tables of a file by the name of their sheet.

    Parameters
    ----------
    data : bytes
        A workbook (.xlsx), a CSV file, or a ZIP archive of CSV files.
    name : str
        Name of the file; a CSV file is named like its sheet.
    sheet : str
        Of a CSV file, its sheet, where its name does not say it.

    Raises
    ------
    Invalid
        At `file`: it is none of these, is too large, or names sheets or columns nobody knows.
    """
    if len(data) > MOST_BYTES:
        raise file_too_large(len(data), MOST_BYTES, "; split it.")
    if not data.startswith(SIGNATURE):
        return _gather([(sheet or _stem(name), _csv_lines(data), _divider(data) == ";")])
    if name.lower().endswith(".zip"):
        return _gather(_members(data))
    book = read_book(data, most_rows=MOST_ROWS)
    return _gather([(one, lines, None) for one, lines in book])


def _stem(name: str) -> str:
    return name.replace("\\", "/").rpartition("/")[2].removesuffix(".csv").removesuffix(".CSV")


def _members(data: bytes) -> list[tuple[str, list[Line], bool | None]]:
    found: list[tuple[str, list[Line], bool | None]] = []
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = [part for part in archive.infolist() if not part.is_dir()]
            total = sum(part.file_size for part in parts)
            if total > MOST_UNPACKED_BYTES or len(parts) > 2 * len(BY_NAME):
                words = (
                    f"The archive holds {len(parts)} files with {total:,} bytes; at most "
                    f"{2 * len(BY_NAME)} files with {MOST_UNPACKED_BYTES:,} bytes are read."
                )
                raise Invalid.one("file", "too_large", words, value=total)
            for part in parts:
                text = archive.read(part)
                found.append((_stem(part.filename), _csv_lines(text), _divider(text) == ";"))
    except (zipfile.BadZipFile, RuntimeError, EOFError) as error:
        words = f"The archive cannot be read: {str(error)[:120]}."
        raise Invalid.one("file", "not_a_zip", words) from error
    return found


def _divider(data: bytes) -> str:
    first = data[:10_000].decode("utf-8-sig", "replace").partition("\n")[0]
    return next((sign for sign in ";\t" if sign in first and "," not in first), ",")


def _csv_lines(data: bytes) -> list[Line]:
    text, lines = text_of(data, MOST_BYTES), []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=_divider(data))
    try:
        for row in reader:
            cells: dict[int, Any] = {n: _bare(one) for n, one in enumerate(row) if one.strip()}
            if cells:
                lines.append((reader.line_num, cells))
            if len(lines) > MOST_ROWS + 1:
                words = f"At most {MOST_ROWS} rows are read; split the file."
                raise Invalid.one("file", "too_many_rows", words, limit=MOST_ROWS)
    except csv.Error as error:
        words = f"Line {reader.line_num} cannot be read: {error}; look for a quote not closed."
        raise Invalid.one("file", "not_csv", words) from None
    return lines


def _bare(cell: str) -> str:
    """Return a cell without the sign that keeps spreadsheets from running it, and only that."""
    text = cell.strip()
    return text[1:] if text[:1] == "'" and text[1:2] in DANGEROUS and text[1:2] else text


def _gather(found: list[tuple[str, list[Line], bool | None]]) -> dict[str, Table]:
    tables: dict[str, Table] = {}
    for name, lines, comma in found:
        if name.strip().lower() == COLUMNS_SHEET.lower() or not lines:
            continue
        sheet = next((one for one in BY_NAME.values() if one.name.lower() == name.lower()), None)
        if sheet is None:
            words = f"{name[:60]!r} is the name of no sheet; known are {', '.join(BY_NAME)}."
            raise Invalid.one("file", "unknown_sheet", words, value=name[:60])
        if sheet.name in tables:
            words = f"The sheet {sheet.name} is there twice; put its rows on one."
            raise Invalid.one("file", "sheet_twice", words, value=sheet.name)
        tables[sheet.name] = _table(sheet, lines, comma)
    if not any(table.rows or table.problems for table in tables.values()):
        words = f"The file has no row below the names of columns. Sheets: {', '.join(BY_NAME)}."
        raise Invalid.one("file", "empty", words)
    return tables


def _table(sheet: Sheet, lines: list[Line], comma: bool | None) -> Table:
    (head, cells), *below = lines
    names = {place: str(cell).strip() for place, cell in cells.items()}
    _check_head(sheet, head, names)
    rows, problems, spoilt = [], [], set()
    for line, found in below:
        values: dict[str, Any] = {}
        wrong: list[FieldProblem] = []
        for place, cell in found.items():
            if place not in names:
                words = f"{str(cell)[:40]!r} stands in a column without a name."
                wrong.append(problem(sheet, line, "", "no_column", words))
                continue
            name = names[place]
            try:
                values[name] = read_cell(sheet.column(name), cell, comma=comma)
            except BadCell as error:
                words = f"{name} {error}"
                wrong.append(problem(sheet, line, name, "bad_cell", words, str(cell)[:80]))
        bad = {one.pointer.rpartition("/")[2] for one in wrong}
        for name in sheet.needed:
            if name not in values and name not in bad:
                words = f"{name} is empty; {sheet.column(name).form} is needed here."
                wrong.append(problem(sheet, line, name, "required", words))
        if wrong:
            problems += wrong
            spoilt.add(values.get(sheet.key[0]) if sheet.key else None)
        else:
            rows.append(Row(line, values))
    return Table(sheet, rows, problems, frozenset(names.values()), frozenset(spoilt))


def _check_head(sheet: Sheet, line: int, names: dict[int, str]) -> None:
    there = list(names.values())
    wrong = {
        "Missing": [name for name in sheet.needed if name not in there],
        "Unknown": [name for name in there if name not in sheet.names],
        "Twice": sorted({name for name in there if there.count(name) > 1}),
    }
    if any(wrong.values()):
        told = " ".join(f"{k}: {', '.join(v)[:200]}." for k, v in wrong.items() if v)
        words = (
            f"Sheet {sheet.name}, row {line} must name the columns. {told} Known: "
            f"{', '.join(sheet.names)}."
        )
        raise Invalid.one(f"{sheet.name}/{line}", "header", words)


def problem(
    sheet: Sheet, line: int, column: str, code: str, words: str, value: str | None = None
) -> FieldProblem:
    """Return what is wrong with a cell, or with a row where `column` is empty."""
    place = f"#/{sheet.name}/{line}" + (f"/{column}" if column else "")
    where = f"{sheet.name}, row {line}" + (f", {column}" if column else "")
    return FieldProblem(place, code, f"{where}: {words}", value)
