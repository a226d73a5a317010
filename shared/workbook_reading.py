"""
Cells of a workbook in Office Open XML (ISO/IEC 29500-1, SpreadsheetML), bounded and typed.

Only values are taken. A cell with a formula is marked as one: what it showed when it was saved
may be old. The file is judged by its table of contents before anything in it is unpacked, and
XML is read without entities, document types or network.
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time, timedelta
from decimal import Decimal, InvalidOperation
from typing import IO, Any

from shared.errors import Invalid, file_too_large

MOST_BYTES = 10_000_000
MOST_UNPACKED_BYTES = 60_000_000
MOST_PARTS = 400
MOST_SHEETS = 60
MOST_COLUMNS = 120
MOST_CHARACTERS = 32_767
_ZERO = date(1899, 12, 30)
"""Day 0 of the 1900 date base as spreadsheets count from March 1900 (29500-1, 18.17.4.1)."""
_ZERO_1904 = date(1904, 1, 1)
_DATES = {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}
"""Number formats built in that show days or times (18.8.30)."""
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]|_.|\*.')
_PLACE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


@dataclass(frozen=True)
class Formula:
    """A cell that is worked out by the spreadsheet; its text begins with =."""

    text: str


Value = str | Decimal | bool | date | time | Formula
Line = tuple[int, dict[int, Value]]
"""The number of a row, from 1, and its cells by column, from 0; empty cells are left out."""


def read_book(data: bytes, *, most_rows: int) -> Iterator[tuple[str, list[Line]]]:
    """
    Yield each sheet of a workbook: its name, and its rows that hold anything.

    Raises
    ------
    Invalid
        At field `file`: no workbook, locked, too large, or too many rows.
    """
    if len(data) > MOST_BYTES:
        raise file_too_large(len(data), MOST_BYTES, "; split it.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_contents(archive)
            book = _Book(archive)
            for name, part in book.sheets:
                yield name, book.lines(part, name, most_rows)
    except Invalid:
        raise
    except (
        zipfile.BadZipFile, KeyError, ValueError, IndexError, EOFError,
        RuntimeError, OverflowError, SyntaxError,
    ) as error:  # fmt: skip
        words = f"The file cannot be read as a workbook (.xlsx): {str(error)[:120] or 'damaged'}."
        raise Invalid.one("file", "not_a_workbook", words) from error


def _check_contents(archive: zipfile.ZipFile) -> None:
    parts = archive.infolist()
    if len(parts) > MOST_PARTS:
        words = f"The workbook has {len(parts)} parts; at most {MOST_PARTS} are read."
        raise Invalid.one("file", "too_large", words, value=len(parts), limit=MOST_PARTS)
    unpacked = sum(part.file_size for part in parts)
    if unpacked > MOST_UNPACKED_BYTES:
        words = (
            f"The workbook unpacks to {unpacked:,} bytes; at most {MOST_UNPACKED_BYTES:,} are "
            "read. Take pictures and empty rows out, or split it."
        )
        raise Invalid.one(
            "file", "too_large", words, value=unpacked, limit=MOST_UNPACKED_BYTES, unit="bytes"
        )
    if any(part.flag_bits & 1 for part in parts):
        raise Invalid.one(
            "file", "locked", "The workbook has a password; save it without one and try again."
        )


class _Book:
    """The parts of one workbook that say what its cells mean."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        self.names = set(archive.namelist())
        links = self._links("_rels/.rels", "")
        root = next(
            (part for kind, part in links.values() if kind.endswith("/officeDocument")),
            "xl/workbook.xml",
        )
        folder, name = posixpath.split(root)
        links = self._links(f"{folder}/_rels/{name}.rels", folder)
        self.texts: list[str] = []
        self.dates: list[bool] = []
        for kind, part in links.values():
            if kind.endswith("/sharedStrings") and part in self.names:
                self.texts = [_text_of(item) for item in self._each(part, "si")]
            if kind.endswith("/styles") and part in self.names:
                self.dates = self._date_styles(part)
        self.zero, self.sheets = _ZERO, []
        for element in self._each(root, "workbookPr", "sheet"):
            if _tag(element) == "workbookPr":
                if element.get("date1904") in ("1", "true"):
                    self.zero = _ZERO_1904
                continue
            mark = next((v for k, v in element.attrib.items() if k.endswith("}id")), "")
            kind, part = links.get(mark, ("", ""))
            if kind.endswith("/worksheet"):
                self.sheets.append((element.get("name", ""), part))
        if len(self.sheets) > MOST_SHEETS:
            words = f"The workbook has {len(self.sheets)} sheets; at most {MOST_SHEETS} are read."
            raise Invalid.one("file", "too_large", words, limit=MOST_SHEETS)

    def _each(self, part: str, *tags: str) -> Iterator[Any]:
        """Yield elements as they end, and forget them; no entity and no document type is read."""
        with self.archive.open(part) as stream:
            yield from _elements(stream, tags)

    def _links(self, part: str, folder: str) -> dict[str, tuple[str, str]]:
        if part not in self.names:
            return {}
        return {
            e.get("Id", ""): (
                e.get("Type", ""),
                posixpath.normpath(posixpath.join("/", folder, e.get("Target", ""))).lstrip("/"),
            )
            for e in self._each(part, "Relationship")
        }

    def _date_styles(self, part: str) -> list[bool]:
        """Return for each cell format whether it shows days or times."""
        own, found = {}, []
        for element in self._each(part, "numFmt", "cellXfs"):
            if _tag(element) == "numFmt":
                shown = _QUOTED.sub("", element.get("formatCode", ""))
                own[element.get("numFmtId")] = bool(re.search(r"[ymdhs]", shown, re.IGNORECASE))
            else:
                for form in element:
                    number = form.get("numFmtId", "0")
                    found.append(own.get(number, number.isdigit() and int(number) in _DATES))
        return found

    def lines(self, part: str, sheet: str, most_rows: int) -> list[Line]:
        """Return the rows of a sheet that hold anything."""
        found: list[Line] = []
        number = 0
        for row in self._each(part, "row"):
            number = int(row.get("r", number + 1))
            cells: dict[int, Value] = {}
            column = -1
            for cell in row:
                if _tag(cell) != "c":
                    continue
                place = _PLACE.fullmatch(cell.get("r", ""))
                column = _column(place[1]) if place else column + 1
                value = self._value(cell)
                if value not in (None, ""):
                    if column >= MOST_COLUMNS:
                        words = (
                            f"Sheet {sheet}, row {number} has something in column {column + 1}; "
                            f"at most {MOST_COLUMNS} columns are read."
                        )
                        raise Invalid.one("file", "too_wide", words, limit=MOST_COLUMNS)
                    cells[column] = value
            if cells:
                found.append((number, cells))
            if len(found) > most_rows + 1:
                words = f"Sheet {sheet} has more than {most_rows} rows; split it."
                raise Invalid.one("file", "too_many_rows", words, limit=most_rows)
        return found

    def _value(self, cell: Any) -> Any:
        parts = {_tag(child): child for child in cell}
        if "f" in parts:
            return Formula(f"={parts['f'].text or ''}"[:200])
        kind = cell.get("t", "n")
        if kind == "inlineStr":
            return _text_of(parts["is"]).strip() if "is" in parts else None
        raw = (parts["v"].text or "") if "v" in parts else ""
        if raw == "":
            return None
        if kind == "s":
            return self.texts[int(raw)].strip()
        if kind == "b":
            return raw == "1"
        if kind in ("str", "e"):
            return raw.strip()
        if kind == "d":
            return date.fromisoformat(raw[:10])
        style = int(cell.get("s", "0"))
        if style < len(self.dates) and self.dates[style]:
            return self._moment(raw)
        return _number(raw)

    def _moment(self, raw: str) -> Value:
        """Return a day, or a time of day; a day with a time on it stays a number."""
        count = Decimal(raw)
        if 0 <= count < 1:
            seconds = round(float(count) * 86_400)
            return time(seconds // 3600 % 24, seconds // 60 % 60)
        if count != int(count) or count > 200_000:
            return count
        return self.zero + timedelta(days=int(count))


def _elements(stream: IO[bytes], tags: tuple[str, ...]) -> Iterator[Any]:
    from lxml import etree

    reading = etree.iterparse(
        stream, events=("end",), resolve_entities=False, no_network=True, load_dtd=False,
        huge_tree=False, remove_comments=True, remove_pis=True,
    )  # fmt: skip
    for _, element in reading:
        if _tag(element) not in tags:
            continue
        if element.getroottree().docinfo.doctype:
            raise ValueError("it declares a document type")
        yield element
        element.clear(keep_tail=True)
        while element.getprevious() is not None and element.getparent() is not None:
            del element.getparent()[0]


def _tag(element: Any) -> str:
    return str(element.tag).rpartition("}")[2]


def _text_of(item: Any) -> str:
    """Return the text of a cell, its runs one after the other, without phonetic hints."""
    parts = []
    for child in item:
        if _tag(child) == "t":
            parts.append(child.text or "")
        elif _tag(child) == "r":
            parts += [t.text or "" for t in child if _tag(t) == "t"]
    return "".join(parts)[: MOST_CHARACTERS + 1]


def _column(letters: str) -> int:
    place = 0
    for letter in letters:
        place = 26 * place + ord(letter) - 64
    return place - 1


def _number(raw: str) -> Decimal:
    """Return a number as the spreadsheet shows it: no more than 15 figures mean anything."""
    try:
        value = Decimal(raw)
    except InvalidOperation:
        raise ValueError(f"{raw[:40]!r} is no number") from None
    if not value.is_finite():
        raise ValueError(f"{raw[:40]!r} is no number")
    if len(value.as_tuple().digits) > 15:
        value = Decimal(repr(float(value)))
    return value
