"""Rows of a CSV file (RFC 4180) from people and machines: decoded, named by column, bounded."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from shared.errors import FieldProblem, Invalid

MOST_BYTES = 10_000_000
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_TWO_READINGS = re.compile(r"[+-]?\d{1,3}\.\d{3}", re.ASCII)


def rows_of(
    data: bytes,
    *,
    columns: Sequence[str],
    needed: Collection[str],
    most_rows: int,
    most_bytes: int = MOST_BYTES,
    numbers: Collection[str] = (),
) -> Iterator[tuple[int, dict[str, str]]]:
    """
    Yield each row below the header as its line and its cells by column, blanks round them removed.

    Columns are divided by commas, semicolons or tabs, as the header shows. Spreadsheets write
    semicolons where the decimal sign is a comma, so in such a file ``12,5`` in a column of
    `numbers` is 12.5, and ``1.250``, which people there read as 1250, is refused. Rows without
    any text are passed over.

    Parameters
    ----------
    data : bytes
        The file, UTF-8 with or without a byte-order mark.
    columns, needed : collections of str
        Names that the header may have, and those it must have.
    most_rows, most_bytes : int
        Limits of the file.
    numbers : collection of str
        Columns of decimal numbers.

    Raises
    ------
    Invalid
        At field `file`, when it is no such table; the line counts from 1 with the header as 1.
    """
    text = text_of(data, most_bytes)
    first = text.partition("\n")[0]
    divider = next((sign for sign in ";\t" if sign in first and "," not in first), ",")
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=divider)
    count = 0
    try:
        header = [name.strip() for name in next(reader, [])]
        _check_header(header, columns, needed)
        for row in reader:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            count += 1
            if count > most_rows:
                words = f"At most {most_rows} rows are read; split the file."
                raise Invalid.one("file", "too_many_rows", words, limit=most_rows)
            line = reader.line_num
            if len(cells) != len(header):
                words = f"Line {line} has {len(cells)} cells; the header has {len(header)}."
                raise Invalid.one("file", "row_length", words)
            values = dict(zip(header, cells, strict=True))
            if divider == ";":
                for name in numbers:
                    if name in values:
                        values[name] = _with_point(line, name, values[name])
            yield line, values
    except csv.Error as error:
        words = f"Line {reader.line_num} cannot be read: {error}; look for a quote not closed."
        raise Invalid.one("file", "not_csv", words) from None
    if not count:
        raise Invalid.one("file", "empty", "The file has no rows below its header.")


def at_line(line: int, problem: FieldProblem) -> FieldProblem:
    """Return the problem of one row's field as that of line `line` of the file."""
    pointer = problem.pointer.replace("#/", f"#/rows/{line}/", 1)
    return replace(problem, pointer=pointer, detail=f"Line {line}: {problem.detail}")


def text_of(data: bytes, most_bytes: int) -> str:
    """Return the text of a CSV file; refuse what is too long or no text."""
    if len(data) > most_bytes:
        words = f"The file has {len(data)} bytes; at most {most_bytes} are read."
        raise Invalid.one("file", "too_large", words, value=len(data), limit=most_bytes)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        words = f"Byte {error.start} of the file is not UTF-8; save it as CSV in UTF-8."
        raise Invalid.one("file", "not_utf8", words) from None
    if "\0" in text:
        raise Invalid.one("file", "nul", "The file has a NUL byte; it is not a text file.")
    return text


def _check_header(header: list[str], columns: Sequence[str], needed: Collection[str]) -> None:
    wrong = {
        "Missing": [name for name in needed if name not in header],
        "Unknown": [name or "(no name)" for name in header if name not in columns],
        "Named twice": sorted({name for name in header if name and header.count(name) > 1}),
    }
    if any(wrong.values()):
        named = " ".join(f"{k}: {', '.join(v)[:200]}." for k, v in wrong.items() if v)
        words = f"The first line must name the columns. {named} Known: {', '.join(columns)}."
        raise Invalid.one("file", "header", words)


def _with_point(line: int, name: str, cell: str) -> str:
    if _TWO_READINGS.fullmatch(cell):
        whole, comma = cell.replace(".", ""), cell.replace(".", ",")
        words = (
            f"Line {line}: {name} is {cell!r}, which can be read as {whole} or as {comma}; in a "
            "file divided by semicolons write one of these."
        )
        raise Invalid.one(f"rows/{line}/{name}", "two_readings", words, value=cell)
    return cell.replace(",", ".") if _DECIMAL_COMMA.fullmatch(cell) else cell
