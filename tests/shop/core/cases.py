"""Rows of the published and hand-made cases, with their source in the test id."""

import csv
import json
from pathlib import Path
from typing import Any, NamedTuple

import pytest

CASES = Path(__file__).parents[3] / "fixtures" / "reference" / "cases"


class Case(NamedTuple):
    id: str
    topic: str
    inputs: dict[str, Any]
    expected: Any
    tolerance: float
    source: str

    def check(self, found: Any, expected: Any = None) -> None:
        """Compare figures at the row's own tolerance, at every depth."""
        wanted = self.expected if expected is None else expected
        # The tables print six to eight decimals; half of the last one is theirs, not ours.
        assert found == pytest.approx(wanted, rel=max(self.tolerance, 1e-12), abs=6e-7), (
            f"{self.id}: {self.topic}. Source: {self.source}"
        )


def rows(name: str) -> list[Case]:
    with (CASES / name).open(encoding="utf-8", newline="") as file:
        return [
            Case(
                row["id"],
                row["topic"],
                _json(row["inputs"]),
                _json(row["expected"]),
                float(row.get("rel_tolerance") or 0),
                row["source"],
            )
            for row in csv.DictReader(file)
        ]


def params(name: str, *prefixes: str) -> list[Any]:
    """Return the rows whose id starts with a prefix, as test parameters naming their source."""
    found = [c for c in rows(name) if c.id.startswith(prefixes)]
    assert found, f"no row of {name} starts with {prefixes}"
    return [pytest.param(c, id=f"{c.id} [{c.source[:48]}]") for c in found]


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return text
