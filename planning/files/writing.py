"""Write the shop as a workbook, and the sample of one."""

from __future__ import annotations

import io
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from rest_framework.exceptions import APIException

from planning.files.cells import written
from planning.files.columns import Sheet
from planning.files.doors import Doors
from planning.files.sheets import COLUMNS_SHEET, SHEETS, SOURCED, WEEK
from planning.files.special import OWN_DATES, in_order
from shared import clock
from shared.errors import Invalid
from shared.export import Column as FileColumn
from shared.export import csv_bytes
from shared.workbook import SheetRows, book

WHAT = ("sheet", "column", "needed", "what may stand in it", "what it is")
WAITING = ("asked", "planned")
"""States of a pour that is still to be cast; the others are history."""
Cells = dict[str, list[list[Any]]]


def sample(today: date) -> Cells:
    """Return a small invented shop with all that a first plan needs; days follow from today."""
    return {sheet.name: [_example(sheet, more, today) for more in ({}, *sheet.more)]
            if any(column.example is not None for column in sheet.columns) else []
            for sheet in SHEETS}  # fmt: skip


def _example(sheet: Sheet, more: Mapping[str, Any], today: date) -> list[Any]:
    cells = []
    for column in sheet.columns:
        value = more.get(column.name, column.example)
        if column.kind == "day" and value is not None:
            value = today + timedelta(days=value)
        cells.append(value if column.kind == "hours" else written(column, value))
    return cells


def rows_of_shop(doors: Doors) -> Cells:
    """Return what the shop is set up with, its stock and the orders that wait, sheet by sheet."""
    out = _Out(doors)
    found: Cells = {}
    for sheet in SHEETS:
        rows = getattr(out, _name(sheet), None)
        shown = rows(sheet) if rows else out.plain(sheet)
        found[sheet.name] = [
            [one.get(c.name) if c.kind == "hours" else written(c, one.get(c.name))
             for c in sheet.columns]
            for one in shown
        ]  # fmt: skip
    return found


def _name(sheet: Sheet) -> str:
    return sheet.name.lower().replace(" ", "_")


def as_workbook(cells: Cells) -> bytes:
    """Return a workbook with a first sheet that tells of the columns of the others."""
    first = SheetRows(COLUMNS_SHEET, WHAT, list(described()), (20, 26, 10, 50, 70))
    sheets = [
        SheetRows(sheet.name, sheet.names, cells[sheet.name],
                  [max(10, min(len(name) + 2, 30)) for name in sheet.names])
        for sheet in SHEETS
    ]  # fmt: skip
    return book([first, *sheets])


def as_csv(cells: Cells) -> bytes:
    """Return a ZIP archive with one CSV file for each sheet that has rows, and one of columns."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        plain = [FileColumn(name) for name in WHAT]
        archive.writestr(f"{COLUMNS_SHEET}.csv", csv_bytes(plain, described()))
        for sheet in SHEETS:
            columns = [
                FileColumn(c.name, "number" if c.kind in ("number", "whole") else "text")
                for c in sheet.columns
            ]
            archive.writestr(f"{sheet.name}.csv", csv_bytes(columns, cells[sheet.name]))
    return out.getvalue()


def in_form(cells: Cells, form: str) -> tuple[bytes, str]:
    """Return a file as `xlsx` or as `csv`, and how its name ends."""
    if form not in ("xlsx", "csv"):
        words = f"form is {form[:20]!r}; xlsx and csv are written."
        raise Invalid.one("form", "not_a_choice", words, value=form[:20])
    return (as_workbook(cells), "xlsx") if form == "xlsx" else (as_csv(cells), "zip")


def described() -> Iterator[Sequence[str]]:
    """Yield each sheet and column in words."""
    for sheet in SHEETS:
        yield (sheet.name, "", "", "", sheet.about)
        for column in sheet.columns:
            needed = "yes" if column.needed else ""
            yield (sheet.name, column.name, needed, column.form, column.about)


class _Out:
    """The rows of each sheet as the API shows them, with codes in place of ids."""

    def __init__(self, doors: Doors) -> None:
        self.doors = doors
        self.known: dict[str, list[dict[str, Any]]] = {}
        self.codes: dict[str, dict[str, str]] = {}

    def rows(self, address: str) -> list[dict[str, Any]]:
        if address not in self.known:
            try:
                self.known[address] = self.doors.rows(address)
            except APIException:
                self.known[address] = []  # what the caller may not read stays out of the file
        return self.known[address]

    def code(self, sheet: str, pk: str | None) -> str | None:
        if pk is None:
            return None
        if sheet not in self.codes:
            [found] = [one for one in SHEETS if one.name == sheet]
            self.codes[sheet] = {row["id"]: row["code"] for row in self.rows(found.address)}
        return self.codes[sheet].get(pk)

    def coded(self, sheet: Sheet, rows: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        for row in rows:
            links = {
                column.name: self.code(column.link, row.get(column.name))
                for column in sheet.columns
                if column.kind == "link"
            }
            yield {**row, **links}

    def plain(self, sheet: Sheet) -> list[dict[str, Any]]:
        """Return the rows of one list, in the order of their keys."""
        rows = list(self.coded(sheet, self.rows(sheet.address)))
        return sorted(rows, key=lambda row: [str(row[name]) for name in sheet.key])

    def people(self, sheet: Sheet) -> list[dict[str, Any]]:
        found = []
        for row in self.plain(sheet):
            shifts = sorted((s["weekday"], s["starts"][:5], s["ends"][:5]) for s in row["shifts"])
            hours = {
                day: ", ".join(f"{a}-{b}" for w, a, b in shifts if w == n) or None
                for n, day in enumerate(WEEK, start=1)
            }
            found.append({**row, **hours})
        return found

    def resin_systems(self, sheet: Sheet) -> list[dict[str, Any]]:
        found = []
        for row in self.plain(sheet):
            told = row["sources"]
            stated = [told[n] for n in SOURCED if told.get(n)]
            usual = Counter(stated).most_common(1)[0][0] if stated else ""
            others = [
                {"value": name, "source": source}
                for name, source in sorted(told.items())
                if name not in SOURCED or source != usual
            ]
            kept = {"source": usual, "other_sources": others, "confirmed": True}
            found.append({**row, **kept})
        return found

    def tools(self, sheet: Sheet) -> list[dict[str, Any]]:
        """Return tools, those that follow another after it; retired ones are history."""
        shots: Counter[str] = Counter()
        for event in self.rows("tool-events"):
            shots[event["tool"]] += event["shots"]
        found = []
        for row in self.rows(sheet.address):
            if row["status"] == "retired":
                continue
            more: dict[str, Any] = {}
            if row["status"] in ("in_service", "repair"):
                since = [half["demoulded_at"] for half in row["halves"] if half["demoulded_at"]]
                began = clock.local(_moment(min(since)), self.doors.site) if since else None
                more = {
                    "in_service_since": began.date() if began else clock.today(self.doors.site),
                    "shots_so_far": shots[row["id"]] or None,
                    "under_repair": True if row["status"] == "repair" else None,
                }
            found.append({**row, **more})
        return list(self.coded(sheet, found))

    def release_clashes(self, sheet: Sheet) -> list[dict[str, Any]]:
        """Return pairs of agents, the two in the order of their codes."""
        found = []
        for row in self.plain(sheet):
            first, second = sorted((row["first"], row["second"]))
            found.append({**row, "first": first, "second": second})
        return sorted(found, key=lambda row: (row["first"], row["second"]))

    def routes(self, sheet: Sheet) -> list[dict[str, Any]]:
        return sorted(self.rows(sheet.address), key=lambda row: row["code"])

    def route_steps(self, sheet: Sheet) -> list[dict[str, Any]]:
        return [
            {**step, "route": route["code"]}
            for route in self.routes(sheet)
            for step in in_order(route["steps"])
        ]

    def shop(self, sheet: Sheet) -> list[dict[str, Any]]:
        return self.rows(sheet.address)

    def stock(self, sheet: Sheet) -> list[dict[str, Any]]:
        """Return each container that holds something as a row of its own."""
        lots = {row["id"]: row for row in self.rows("lots")}
        found = []
        for row in self.rows("containers"):
            lot = lots[row["lot"]]
            if float(row["balance"]["value"]) <= 0:
                continue
            opened = row["opened_at"]
            found.append(
                {
                    **lot, "lot_code": lot["code"], "quantity": row["balance"]["value"],
                    "unit": row["balance"]["unit"], "container": row["code"],
                    "location": row["location"], "state": lot["status"],
                    "state_reason": lot["status_reason"],
                    "opened_on": clock.local(_moment(opened), self.doors.site).date()
                    if opened else None,
                }
            )  # fmt: skip
        shown = list(self.coded(sheet, found))
        return sorted(shown, key=lambda r: (r["material"], r["lot_code"], r["container"]))

    def orders(self, sheet: Sheet) -> list[dict[str, Any]]:
        """Return the halves of orders that are still to be cast."""
        found = []
        for order in sorted(self.rows(sheet.address), key=lambda row: row["number"]):
            pours = order["pours"]
            cast = any(one["status"] not in WAITING or one["geometry"] == "mesh" for one in pours)
            if order["status"] != "open" or cast or not pours:
                continue
            head = {**order, "route": order["route_code"]}
            for pour in sorted(pours, key=lambda one: one["half"]):
                own = {name: pour[to] for name, to in OWN_DATES.items() if pour[to] != order[to]}
                of_pour = {n: v for n, v in pour.items() if n not in OWN_DATES.values()}
                row = {**head, **of_pour, **own}
                links = {
                    c.name: self.code(c.link, row.get(c.name))
                    for c in sheet.columns
                    if c.kind == "link" and c.name != "route"
                }
                found.append({**row, **links})
        return found


def _moment(text: str) -> Any:
    from datetime import datetime

    return datetime.fromisoformat(text.replace("Z", "+00:00"))
