"""A delivery from a CSV file: every bad row named, all rows taken in or none."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Any

from shared.access.models import Site
from shared.csv_rows import at_line, rows_of
from shared.errors import FieldProblem, Invalid
from shop.ledger.goods_in import Goods, Pack
from shop.lots.models import LOT_CODE
from shop.materials.models import Material
from shop.materials.suppliers import Supplier
from shop.quantities import NAMES, Quantity
from shop.sites.models import Location

MOST_ROWS = 2_000
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
        With line, column and value of everything that cannot be read.
    """
    known: dict[str, dict[str, Any]] = {
        "material": {row.code: row for row in Material.objects.all()},
        "supplier": {row.code: row for row in Supplier.objects.all()},
        "location": {row.code: row for row in Location.objects.filter(site=site, in_use=True)},
    }
    goods, problems = [], []
    rows = rows_of(
        data, columns=COLUMNS, needed=NEEDED, most_rows=MOST_ROWS, numbers=("quantity",)
    )
    for line, row in rows:
        values: dict[str, Any] = {}
        for column, cell in row.items():
            try:
                values[column] = _cell(column, cell, known)
            except BadCell as error:
                bad = FieldProblem(f"#/{column}", "bad_cell", f"{column}: {error}", cell[:80])
                problems.append(at_line(line, bad))
        if len(values) == len(row):
            try:
                goods.append(_goods(values))
            except Invalid as error:
                bad = FieldProblem("#/unit", "wrong_unit", error.message)
                problems.append(at_line(line, bad))
    if problems:
        raise Invalid(" ".join(p.detail for p in problems[:20]), tuple(problems))
    return goods


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
