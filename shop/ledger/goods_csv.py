"""A delivery from a CSV file: every bad row named, all rows taken in or none."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from shared.access.models import Site
from shared.errors import FieldProblem, Invalid
from shop.ledger.goods_in import Goods, Pack
from shop.lots.models import LOT_CODE
from shop.materials.models import Material, Supplier
from shop.quantities import NAMES, Quantity
from shop.sites.models import Location

MOST_BYTES, MOST_ROWS = 10_000_000, 2_000
NEEDED = ("material", "lot_code", "quantity", "unit")
COLUMNS = (
    *NEEDED, "containers", "supplier", "made_on", "expires_on", "location", "certificate",
)  # fmt: skip
_NUMBER = re.compile(r"\d{1,10}(\.\d{1,4})?", re.ASCII)


class BadCell(ValueError):
    """A cell that cannot be read; says what would be accepted."""


def read_goods(data: bytes, site: Site) -> list[Goods]:
    """
    Return the lots of a file; one row is one lot with equal containers.

    Raises
    ------
    Invalid
        With row, column and value of everything that cannot be read.
    """
    known: dict[str, dict[str, Any]] = {
        "material": {row.code: row for row in Material.objects.all()},
        "supplier": {row.code: row for row in Supplier.objects.all()},
        "location": {row.code: row for row in Location.objects.filter(site=site, in_use=True)},
    }
    goods, problems = [], []
    for line, row in _rows(_text(data)):
        values: dict[str, Any] = {}
        for column, cell in row.items():
            try:
                values[column] = _cell(column, cell, known)
            except BadCell as error:
                words = f"Row {line}, {column}: {error}"
                problems.append(FieldProblem(f"#/{line}/{column}", "bad_cell", words, cell[:80]))
        if len(values) == len(row):
            try:
                goods.append(_goods(values))
            except Invalid as error:
                words = f"Row {line}: {error.message}"
                problems.append(FieldProblem(f"#/{line}/unit", "wrong_unit", words))
    if problems:
        raise Invalid(" ".join(p.detail for p in problems[:20]), tuple(problems))
    return goods


def _text(data: bytes) -> str:
    if len(data) > MOST_BYTES:
        words = f"The file has {len(data)} bytes; at most {MOST_BYTES} are read."
        raise Invalid.one("file", "too_large", words, value=len(data), limit=MOST_BYTES)
    try:
        found = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        words = f"Byte {error.start} of the file is not UTF-8; save it as CSV in UTF-8."
        raise Invalid.one("file", "not_utf8", words) from None
    if "\0" in found:
        raise Invalid.one("file", "nul", "The file holds a NUL character; it is no CSV file.")
    return found


def _rows(text: str) -> Iterator[tuple[int, dict[str, str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        # Where a row stands is told as an editor counts: lines left empty count too.
        rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        words = f"Line {reader.line_num}: {error}; look for a quote that is not closed."
        raise Invalid.one("file", "not_csv", words) from None
    head = [name.strip() for name in rows[0][1]] if rows else []
    missing = [name for name in NEEDED if name not in head]
    unknown = [name for name in head if name not in COLUMNS]
    if missing or unknown or len(set(head)) != len(head) or not 1 < len(rows) <= MOST_ROWS + 1:
        words = (
            f"The first row must name the columns {', '.join(NEEDED)} and may name "
            f"{', '.join(c for c in COLUMNS if c not in NEEDED)}, each once; 1 to {MOST_ROWS} "
            f"rows follow. Missing: {', '.join(missing) or 'none'}; unknown: "
            f"{', '.join(unknown)[:200] or 'none'}; rows: {max(len(rows) - 1, 0)}."
        )
        raise Invalid.one("file", "bad_head", words)
    for n, row in rows[1:]:
        if len(row) != len(head):
            words = f"Row {n} has {len(row)} cells, the first row {len(head)}."
            raise Invalid.one("file", "ragged", words)
        yield n, dict(zip(head, (cell.strip() for cell in row), strict=True))


def _cell(column: str, cell: str, known: dict[str, dict[str, Any]]) -> Any:
    if not cell:
        if column in NEEDED:
            raise BadCell("is empty.")
        return None
    if column in known:
        found = known[column].get(cell)
        if found is None:
            raise BadCell(f"{cell[:60]!r} is not the code of any {column} here.")
        return found
    if column in ("made_on", "expires_on"):
        return _day(cell)
    if column == "quantity":
        if not _NUMBER.fullmatch(cell):
            raise BadCell(f"{cell[:60]!r} is no number such as 12.5, with at most 4 decimals.")
        return Decimal(cell)
    if column == "containers":
        if not (cell.isascii() and cell.isdigit() and len(cell) < 4 and int(cell) >= 1):
            raise BadCell(f"{cell[:60]!r} is no whole number from 1 to 500.")
        return int(cell)
    if column == "unit" and cell not in NAMES:
        raise BadCell(f"{cell[:60]!r} is not a unit; known are {', '.join(NAMES)}.")
    if column == "lot_code" and not re.match(LOT_CODE.regex, cell):
        raise BadCell(f"{cell[:60]!r}: {LOT_CODE.message}")
    return cell[:200]


def _day(cell: str) -> date:
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", cell, re.ASCII):
            raise ValueError
        return date.fromisoformat(cell)
    except ValueError:
        raise BadCell(f"{cell[:60]!r} is not a day such as 2026-11-30.") from None


def _goods(values: dict[str, Any]) -> Goods:
    material = values["material"]
    each = Quantity(values["quantity"], values["unit"]).of(material)
    pack = Pack(each, values.get("location"))
    return Goods(
        material=material,
        lot_code=values["lot_code"],
        containers=[pack] * (values.get("containers") or 1),
        supplier=values.get("supplier"),
        made_on=values.get("made_on"),
        expires_on=values.get("expires_on"),
        certificate=values.get("certificate") or "",
    )
