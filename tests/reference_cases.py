"""
The tables of reference cases, and a register of the tests that assert their rows.

A test gets rows as its parameters (`params`) or names them itself (`asserts`); both enter them in
`ASSERTED`. A test that passes without having asked what its row expects fails (see
`tests/conftest.py`), and `tests/test_reference_rows.py` compares the register with the files.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

CASES = Path(__file__).parents[1] / "fixtures" / "reference" / "cases"
FILES = (
    "physics_checks.csv",
    "planning_checks.csv",
    "interchange_checks.csv",
    "stock_checks.csv",
    "tool_life_checks.csv",
)
ASSERTED: dict[str, set[str]] = {file: set() for file in FILES}
"""Rows that a test asserts, by file."""
LOOKED_AT: set[Row] = set()
"""Rows whose expected value was asked for since the running test began."""

Row = tuple[str, str]


@dataclass(frozen=True)
class Case:
    """One row of a table; asking for what it expects is noted."""

    file: str
    id: str
    topic: str
    inputs: dict[str, Any]
    tolerance: float
    source: str
    how: str
    _printed: str = field(repr=False)

    @property
    def row(self) -> Row:
        return self.file, self.id

    @property
    def printed(self) -> str:
        """What the row expects, as its file prints it."""
        LOOKED_AT.add(self.row)
        return self._printed

    @property
    def expected(self) -> Any:
        return _json(self.printed)

    def check(self, found: Any, expected: Any = None) -> None:
        """Compare figures at the row's own tolerance, at every depth."""
        wanted = self.expected if expected is None else expected
        # The tables print six to eight decimals; half of the last one is theirs, not ours.
        assert found == pytest.approx(wanted, rel=max(self.tolerance, 1e-12), abs=6e-7), self.words

    def near(self, found: float) -> None:
        """Compare one figure within the row's tolerance and half of the last digit printed."""
        printed = self.printed
        half = 0.5 * 10.0 ** Decimal(printed).as_tuple().exponent if "." in printed else 0.0
        allowed = self.tolerance * abs(float(printed)) + half + 1e-9
        assert abs(found - float(printed)) <= allowed, f"got {found}, not {printed}. {self.words}"

    @property
    def words(self) -> str:
        return f"{self.id}: {self.topic}. Source: {self.source}. How: {self.how}"


@lru_cache
def rows(file: str) -> tuple[Case, ...]:
    """Return all rows of a table."""
    with (CASES / file).open(encoding="utf-8", newline="") as opened:
        return tuple(
            Case(
                file,
                row["id"],
                row["topic"],
                _json(row["inputs"]),
                float(row.get("rel_tolerance") or 0),
                row["source"],
                row["how_obtained"],
                row["expected"],
            )
            for row in csv.DictReader(opened)
        )


def case(file: str, name: str) -> Case:
    """Return one row of a table."""
    return next(c for c in rows(file) if c.id == name)


def params(file: str, *prefixes: str) -> list[Any]:
    """Return the rows whose id starts with a prefix, as test parameters naming their source."""
    for prefix in prefixes:
        assert any(c.id.startswith(prefix) for c in rows(file)), f"no row of {file}: {prefix}"
    found = [c for c in rows(file) if c.id.startswith(prefixes)]
    ASSERTED[file] |= {c.id for c in found}
    return [pytest.param(c, id=f"{c.id} [{c.source[:48]}]") for c in found]


def asserts(file: str, *names: str) -> Callable[[Any], Any]:
    """Mark a test that asserts rows of a table without getting them as its parameters."""
    for name in names:
        case(file, name)
    ASSERTED[file] |= set(names)

    def mark(test: Any) -> Any:
        test.reference_rows = [*getattr(test, "reference_rows", []), *((file, n) for n in names)]
        return test

    return mark


def not_looked_at(item: Any) -> list[Row]:
    """Return the rows a test bears whose expected value it never asked for."""
    given = item.callspec.params.values() if hasattr(item, "callspec") else ()
    borne = [value.row for value in given if isinstance(value, Case)]
    borne += getattr(getattr(item, "function", None), "reference_rows", [])
    return [row for row in borne if row not in LOOKED_AT]


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return text
