"""Read a file into the shop through the API: all of it or nothing, with every fault named."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from functools import partial
from typing import Any

from django.db import transaction

from planning.files.columns import Column, Sheet
from planning.files.doors import Doors, Refused
from planning.files.sheets import SHEETS
from planning.files.tables import Row, Table, problem
from shared.errors import FieldProblem, Invalid

MOST_PROBLEMS = 200
"""Faults named in one answer; nobody mends more at a time."""


@dataclass
class Count:
    """What became of the rows of one sheet."""

    new: int = 0
    changed: int = 0
    same: int = 0


@dataclass(frozen=True)
class Done:
    """A file that was read, or tried out."""

    trial: bool
    counts: Mapping[str, Count]

    @property
    def rows(self) -> int:
        """Return how many rows were looked at."""
        return sum(one.new + one.changed + one.same for one in self.counts.values())


@dataclass
class Loading:
    """One file on its way in: what it holds, what is there, what was found wrong."""

    doors: Doors
    tables: Mapping[str, Table]
    counts: dict[str, Count] = field(default_factory=dict)
    problems: list[FieldProblem] = field(default_factory=list)
    ids: dict[str, dict[str, str]] = field(default_factory=dict)
    """Of each sheet, the id of each code."""
    blocked: dict[str, set[Any]] = field(default_factory=dict)
    """Of each sheet, the codes of rows that were refused; rows that name them are passed over."""

    def table(self, name: str) -> Table | None:
        """Return the rows of a sheet, if the file has it."""
        return self.tables.get(name)

    def count(self, name: str) -> Count:
        """Return the counter of a sheet."""
        return self.counts.setdefault(name, Count())

    def id_of(self, sheet: str, code: str) -> str | None:
        """Return the id behind a code of another sheet."""
        if sheet not in self.ids:
            [found] = [one for one in SHEETS if one.name == sheet]
            rows = self.doors.rows(found.address)
            self.ids[sheet] = {row["code"]: row["id"] for row in rows}
        return self.ids[sheet].get(code)

    def made(self, sheet: str, code: str, row_id: str) -> None:
        """Note a row that was made, for those that name it."""
        self.id_of(sheet, code)
        self.ids[sheet][code] = row_id

    def block(self, sheet: str, code: Any) -> None:
        """Note that a row was refused."""
        self.blocked.setdefault(sheet, set()).add(code)

    def body(self, sheet: Sheet, row: Row) -> dict[str, Any] | None:
        """Return a row with ids in place of codes; None if it names what is not there."""
        body, whole = dict(row.values), True
        for column in sheet.columns:
            code = body.get(column.name)
            if column.kind != "link" or code is None:
                continue
            found = self.id_of(column.link, str(code))
            if found is not None:
                body[column.name] = found
                continue
            whole = False
            if code not in self.blocked.get(column.link, ()):
                words = (
                    f"{column.name} is {str(code)[:60]!r}, which is on no row of the sheet "
                    f"{column.link} and not in the shop. Enter it there, or correct the code."
                )
                self.wrong(sheet, row.line, column.name, "does_not_exist", words, str(code)[:80])
        return body if whole else None

    def wrong(
        self, sheet: Sheet, line: int, column: str, code: str, words: str, value: str | None = None
    ) -> None:
        """Note a fault."""
        self.problems.append(problem(sheet, line, column, code, words, value))

    def refused(
        self,
        error: Refused,
        place: Callable[[list[str]], tuple[Sheet, int, str]],
    ) -> None:
        """Note what the API refused, each fault at its cell; `place` reads a pointer's parts."""
        for one in error.problems:
            parts = one.pointer.removeprefix("#").strip("/").split("/")
            sheet, line, column = place([part for part in parts if part])
            known = column in sheet.names
            found = problem(sheet, line, column if known else "", one.code, one.detail, one.value)
            self.problems.append(found)


def load(doors: Doors, tables: Mapping[str, Table], *, trial: bool) -> Done:
    """
    Take in all rows of a file, or none.

    A row whose code is there already is changed where the file says something else; an empty cell
    changes nothing. Lots and orders that are there are left as they are.

    Raises
    ------
    Invalid
        With every fault, each at ``#/SHEET/ROW/COLUMN``. Nothing is changed then.
    """
    from planning.files.special import READERS

    loading = Loading(doors, tables)
    with transaction.atomic():
        for table in tables.values():
            loading.problems += table.problems
            for code in table.spoilt:
                loading.block(table.sheet.name, code)
        for sheet in SHEETS:
            if sheet.name in tables:
                READERS.get(sheet.name, plain)(loading, tables[sheet.name])
        transaction.set_rollback(trial or bool(loading.problems))
    if loading.problems:
        raise _all_wrong(loading.problems)
    return Done(
        trial, {s.name: loading.counts[s.name] for s in SHEETS if s.name in loading.counts}
    )


def _all_wrong(problems: list[FieldProblem]) -> Invalid:
    names = [sheet.name for sheet in SHEETS]

    def order(one: FieldProblem) -> tuple[int, int]:
        _, sheet, line, *_ = [*one.pointer.split("/"), "0", "0"]
        return names.index(sheet) if sheet in names else -1, int(line) if line.isdigit() else 0

    found = sorted(dict.fromkeys(problems), key=order)
    words = f"{len(found)} fault{'s' * (len(found) > 1)} found; nothing was changed."
    if len(found) > MOST_PROBLEMS:
        words = f"{words} The first {MOST_PROBLEMS} are named."
    return Invalid(words, tuple(found[:MOST_PROBLEMS]))


Change = Callable[[dict[str, Any]], dict[str, Any]]


def plain(loading: Loading, table: Table, prepare: Change = dict, skip: set[str] | None = None,
          after: Callable[[Row, dict[str, Any], bool], bool] | None = None) -> None:  # fmt: skip
    """
    Take in a sheet whose rows are rows of one list of the API.

    Parameters
    ----------
    prepare : callable
        Makes the body of a row, where columns and fields differ.
    skip : set of str
        Fields that are told of new rows only.
    after : callable
        Called with the row, the answer and whether it is new; returns whether it changed more.
    """
    sheet = table.sheet
    there = {_key(sheet, row): row for row in loading.doors.rows(sheet.address)}
    seen: dict[tuple[Any, ...], int] = {}
    for row in table.rows:
        own = row.values.get("code")
        body = loading.body(sheet, row)
        if body is None:
            loading.block(sheet.name, own)
            continue
        key = _key(sheet, body)
        if sheet.key and key in seen:
            told = ", ".join(str(row.values.get(name) or "") for name in sheet.key[:2])
            words = f"{told.strip(', ')} stands on row {seen[key]} already; keep one of the rows."
            loading.wrong(sheet, row.line, sheet.key[0], "twice", words)
            continue
        seen[key] = row.line
        try:
            body = prepare(body)
            answer, state = _keep(loading, sheet, body, there.get(key), skip or set())
            if after is not None and after(row, answer, state == "new") and state == "same":
                state = "changed"
        except Refused as error:
            loading.block(sheet.name, own)
            loading.refused(error, partial(_place, sheet, row.line))
            if any(one.code == "permission_denied" for one in error.problems):
                return
            continue
        if own is not None:
            loading.made(sheet.name, str(own), answer["id"])
        count = loading.count(sheet.name)
        setattr(count, state, getattr(count, state) + 1)


def _place(sheet: Sheet, line: int, parts: list[str]) -> tuple[Sheet, int, str]:
    name = parts[0] if parts else ""
    return sheet, line, "source" if name == "sources" else name


def _keep(
    loading: Loading, sheet: Sheet, body: dict[str, Any], there: dict[str, Any] | None,
    skip: set[str],
) -> tuple[dict[str, Any], str]:  # fmt: skip
    if there is None:
        if any(column.name == "site" for column in sheet.columns) or "site" in _fields(
            loading, sheet
        ):
            body = {"site": loading.doors.site.code, **body}
        return loading.doors.post(sheet.address, body), "new"
    changed = {
        name: value
        for name, value in body.items()
        if name not in skip
        and name != "confirmed"
        and not same(value, there.get(name), sheet, name)
    }
    if not changed:
        return there, "same"
    if body.get("confirmed"):
        changed["confirmed"] = True
    return loading.doors.patch(f"{sheet.address}/{there['id']}", changed), "changed"


def _fields(loading: Loading, sheet: Sheet) -> Any:
    return loading.doors.form(sheet.address).fields


def _key(sheet: Sheet, row: Mapping[str, Any]) -> tuple[Any, ...]:
    found = tuple(_usual(row.get(name), sheet.column(name)) for name in sheet.key)
    # The API puts the two of a pair in an order of its own.
    return tuple(sorted(found)) if sheet.key == ("first", "second") else found


def _usual(value: Any, column: Column) -> Any:
    """Return a key's part in one form: empty as its usual value, times without seconds."""
    if column.kind == "yes":
        return bool(value)
    if column.name == "from_packs":
        return value or 1
    if column.kind == "clock" and value:
        return str(value)[:5]
    return value or None


def same(one: Any, other: Any, sheet: Sheet, name: str) -> bool:
    """Tell whether a cell says what is there already."""
    if one == other:
        return True
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(
            same(a, b, sheet, name) for a, b in zip(one, other, strict=True)
        )
    if isinstance(one, dict) and isinstance(other, dict):
        return set(one) == set(other) and all(same(one[k], other[k], sheet, k) for k in one)
    column = next((c for c in sheet.columns if c.name == name), None)
    if column is not None and column.kind == "clock":
        return str(one)[:5] == str(other or "")[:5]
    try:
        return Decimal(str(one)) == Decimal(str(other))
    except InvalidOperation:
        return False
