"""Sheets whose rows are more, or less, than one row of one list of the API."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError

from planning.files.doors import Refused
from planning.files.loading import Loading, plain, same
from planning.files.sheets import SOURCED, STEPS, WEEK
from planning.files.tables import Row, Table
from shop.setup.entries import HoursField

HEAD = (
    "tool_code", "tool_name", "route", "customer", "customer_reference", "due_on", "earliest_on",
    "priority", "remarks", "held_reason",
)  # fmt: skip
"""Columns of an order that must be the same on each of its rows."""
LOT = ("made_on", "expires_on", "unit_cost", "certificate", "state", "state_reason")
"""Columns of a lot that must be the same on each of its rows."""
OWN_DATES = {
    "pour_due_on": "due_on", "pour_earliest_on": "earliest_on", "pour_priority": "priority",
}  # fmt: skip
PHASES = STEPS.column("phase").choices
STEP_DEFAULTS: dict[str, Any] = {
    "half": "A", "wait_min": 0, "longest_wait_min": None, "skill": "", "hands": 1,
    "holds_place": True, "oven_cycle": "", "coats": False, "materials": [], "checks": [],
}  # fmt: skip


def shop(loading: Loading, table: Table) -> None:
    """Change the shop itself by its one row."""
    for row in table.rows[1:]:
        words = "this shop has one row; take the others away."
        loading.wrong(table.sheet, row.line, "", "one_row", words)
    one = Table(table.sheet, table.rows[:1], [], table.columns)
    plain(loading, one)


def people(loading: Loading, table: Table) -> None:
    """Take in people with their weekly hours."""
    sheet = table.sheet
    told = table.columns & set(WEEK)
    hours: dict[int, list[tuple[int, str, str]]] = {}
    rows = []
    for row in table.rows:
        values = dict(row.values)
        try:
            hours[row.line] = list(_hours(values))
        except _BadHours as error:
            loading.wrong(sheet, row.line, error.day, "bad_cell", error.words)
            loading.block(sheet.name, values.get("code"))
            continue
        rows.append(Row(row.line, values))

    def set_hours(row: Row, person: dict[str, Any], new: bool) -> bool:
        if not told:
            return False
        kept = {
            (one["weekday"], one["starts"][:5], one["ends"][:5]): one["id"]
            for one in person.get("shifts") or ()
        }
        wanted = [one for one in hours[row.line] if WEEK[one[0] - 1] in told]
        changed = False
        for known, pk in kept.items():
            if known not in wanted and WEEK[known[0] - 1] in told:
                loading.doors.delete(f"shifts/{pk}")
                changed = True
        for weekday, starts, ends in wanted:
            if (weekday, starts, ends) not in kept:
                shift = {"weekday": weekday, "starts": starts, "ends": ends}
                loading.doors.post("shifts", {"person": person["id"], **shift})
                changed = True
        return changed

    plain(loading, Table(sheet, rows, [], table.columns), after=set_hours)


class _BadHours(Exception):
    def __init__(self, day: str, words: str) -> None:
        super().__init__(words)
        self.day, self.words = day, words


def _hours(values: dict[str, Any]) -> Iterable[tuple[int, str, str]]:
    """Take the hours out of a row and yield them; the same reading as on the page."""
    for n, day in enumerate(WEEK, start=1):
        text = values.pop(day, "")
        try:
            for starts, ends in HoursField(label=day).clean(text):
                yield n, f"{starts:%H:%M}", f"{ends:%H:%M}"
        except ValidationError as error:
            raise _BadHours(day, " ".join(error.messages)) from None


def systems(loading: Loading, table: Table) -> None:
    """Take in resin systems, each value with its source."""

    def prepare(body: dict[str, Any]) -> dict[str, Any]:
        source, others = body.pop("source"), body.pop("other_sources", [])
        sources = {name: source for name in SOURCED if body.get(name) not in (None, [], {})}
        sources |= {one.get("value", ""): one.get("source", "") for one in others}
        return {**body, "sources": sources}

    plain(loading, table, prepare)


def clashes(loading: Loading, table: Table) -> None:
    """Take in pairs of agents; which of the two stands first says nothing."""
    plain(loading, table, skip={"first", "second"})


def tools(loading: Loading, table: Table) -> None:
    """Take in tools, those in use with what was made on them so far."""
    repair: dict[int, bool] = {
        row.line: bool(row.values.get("under_repair")) for row in table.rows
    }

    def prepare(body: dict[str, Any]) -> dict[str, Any]:
        body.pop("under_repair", None)
        return body

    def note_repair(row: Row, tool: dict[str, Any], new: bool) -> bool:
        if new and repair[row.line]:
            words = "Under repair when its record began."
            event = {"tool": tool["id"], "kind": "repair", "words": words}
            loading.doors.post("tool-events", event)
        return False

    plain(loading, table, prepare, {"in_service_since", "shots_so_far"}, note_repair)


def routes(loading: Loading, table: Table | None) -> None:
    """Take in routes with their steps from the next sheet."""
    steps: dict[str, list[Row]] = {}
    below = loading.table(STEPS.name)
    for row in below.rows if below else ():
        steps.setdefault(str(row.values["route"]), []).append(row)
    there = {row["code"]: row for row in loading.doors.rows("routes")}
    for row in table.rows if table else ():
        code = str(row.values["code"])
        own = steps.pop(code, [])
        body = dict(row.values)
        if own:
            body["steps"] = [_step(one) for one in own]
        if table and not own and code not in there:
            blocked = code in loading.blocked.get(STEPS.name, ())
            if not blocked:
                words = f"{code} has no row on the sheet {STEPS.name}; a route needs steps."
                loading.wrong(table.sheet, row.line, "code", "no_steps", words)
            loading.block(table.sheet.name, code)
            continue
        if table:
            _route(loading, table, row, body, own, there.get(code))
    for code, own in steps.items():
        if code in there and below is not None:
            body = {"code": code, "steps": [_step(one) for one in own]}
            _route(loading, below, own[0], body, own, there[code])
        elif code not in loading.blocked.get("Routes", ()):
            words = f"route is {code[:60]!r}, which is on no row of the sheet Routes."
            loading.wrong(STEPS, own[0].line, "route", "does_not_exist", words)


def steps(loading: Loading, table: Table) -> None:
    """Take in steps where the file has no sheet of routes; else routes read their own."""
    if loading.table("Routes") is None:
        routes(loading, None)


def _step(row: Row) -> dict[str, Any]:
    return {name: value for name, value in row.values.items() if name != "route"}


def _route(
    loading: Loading, table: Table, row: Row, body: dict[str, Any], own: list[Row],
    there: dict[str, Any] | None,
) -> None:  # fmt: skip
    def place(parts: list[str]) -> tuple[Any, int, str]:
        if parts[:1] == ["steps"] and len(parts) > 1 and parts[1].isdigit():
            return STEPS, own[int(parts[1])].line, parts[2] if len(parts) > 2 else ""
        return table.sheet, row.line, parts[0] if parts else ""

    count = loading.count("Routes")
    try:
        if there is None:
            loading.made("Routes", body["code"], loading.doors.post("routes", body)["id"])
            count.new += 1
        elif _same_route(body, there, table):
            count.same += 1
        else:
            body.pop("code")
            loading.doors.patch(f"routes/{there['id']}", body)
            count.changed += 1
    except Refused as error:
        loading.block("Routes", row.values.get("code"))
        loading.refused(error, place)


def in_order(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return steps of a route in the order of the work: half by half, phase by phase."""
    return sorted(found, key=lambda step: (step["half"], PHASES.index(step["phase"])))


def _same_route(body: dict[str, Any], there: dict[str, Any], table: Table) -> bool:
    heads = all(same(body[n], there[n], table.sheet, n) for n in ("name", "kind") if n in body)
    if "steps" not in body:
        return heads
    given = in_order([{**STEP_DEFAULTS, **one} for one in body["steps"]])
    kept = in_order(there["steps"])
    return (
        heads
        and len(given) == len(kept)
        and all(
            same(value, old.get(name), STEPS, name)
            for new, old in zip(given, kept, strict=True)
            for name, value in new.items()
        )
    )


def _grouped(table: Table, name: Callable[[Row], Any]) -> dict[Any, list[Row]]:
    found: dict[Any, list[Row]] = {}
    for row in table.rows:
        found.setdefault(name(row), []).append(row)
    return found


def _alike(loading: Loading, table: Table, rows: list[Row], names: tuple[str, ...]) -> bool:
    """Tell whether rows of one thing say the same of it; name those that do not."""
    first, fine = rows[0], True
    for row in rows[1:]:
        for name in names:
            one, other = row.values.get(name), first.values.get(name)
            if one != other:
                words = (
                    f"{name} is {one or 'empty'}, on row {first.line} it is {other or 'empty'}."
                )
                loading.wrong(table.sheet, row.line, name, "differs", words)
                fine = False
    return fine


def stock(loading: Loading, table: Table) -> None:
    """Take in lots with their containers; a lot that is there is left as it is."""
    there = {
        (lot["material"], lot["supplier"], lot["code"].upper())
        for lot in loading.doors.rows("lots")
    }

    def name(row: Row) -> tuple[Any, ...]:
        values = row.values
        lot = (values["material"], values.get("supplier"), str(values["lot_code"]).upper())
        return *lot, values.get("received_on") or values.get("opened_on")

    for rows in _grouped(table, name).values():
        bodies = [loading.body(table.sheet, row) for row in rows]
        if None in bodies or not _alike(loading, table, rows, LOT):
            continue
        head: dict[str, Any] = bodies[0] or {}
        key = (head["material"], head.get("supplier"), str(head["lot_code"]).upper())
        if key in there:
            loading.count(table.sheet.name).same += len(rows)
            continue
        try:
            _receive(loading, table, rows, [one or {} for one in bodies])
        except Refused as error:
            refused = _place_of_lot(table, rows)
            loading.refused(error, refused)
        else:
            loading.count(table.sheet.name).new += len(rows)


def _place_of_lot(table: Table, rows: list[Row]) -> Callable[[list[str]], Any]:
    lines = [row.line for row in rows for _ in range(row.values.get("containers") or 1)]

    def place(parts: list[str]) -> tuple[Any, int, str]:
        parts = parts[2:] if parts[:1] == ["goods"] else parts
        if parts[:1] == ["containers"] and len(parts) > 1 and parts[1].isdigit():
            column = parts[2] if len(parts) > 2 else ""
            column = "unit" if parts[-1] == "unit" else column
            return table.sheet, lines[int(parts[1])], {"code": "container"}.get(column, column)
        names = {"received_at": "received_on", "at": "opened_on", "reason": "state_reason"}
        first = parts[0] if parts else ""
        return table.sheet, rows[0].line, names.get(first, first)

    return place


def _receive(
    loading: Loading, table: Table, rows: list[Row], bodies: list[dict[str, Any]]
) -> None:  # fmt: skip
    head, containers, opened = bodies[0], [], []
    for row, body in zip(rows, bodies, strict=True):
        number = body.get("containers") or 1
        if number > 1 and body.get("container"):
            words = "container names one container; give a row to each, or leave the codes out."
            loading.wrong(table.sheet, row.line, "containers", "one_code", words)
            return
        one = {"quantity": {"value": body["quantity"], "unit": body["unit"]}}
        one |= {to: body[name] for name, to in (("location", "location"), ("container", "code"))
                if name in body}  # fmt: skip
        containers += [one] * number
        opened += [body.get("opened_on")] * number
    names = ("material", "supplier", "lot_code", "made_on", "expires_on", "unit_cost",
             "certificate")  # fmt: skip
    goods = {name: head[name] for name in names if name in head}
    receipt: dict[str, Any] = {
        "site": loading.doors.site.code, "goods": [{**goods, "containers": containers}],
        "reason": "Opening stock",
    }  # fmt: skip
    came = head.get("received_on") or head.get("opened_on")
    if came:
        receipt["received_at"] = _moment(loading, came, time(0))
    [lot] = loading.doors.post("receipts", receipt)["lots"]
    for container, day in zip(lot["containers"], opened, strict=True):
        if day:
            at = _moment(loading, day, time(0) if day == came else time(12))
            loading.doors.post(f"containers/{container['id']}/openings", {"at": at})
    state, now = head.get("state"), lot["lot"]["status"]
    if state and state != now:
        reason = {"reason": head.get("state_reason") or "As the file of the shop says"}
        action = "releases" if state == "released" else "holds"
        loading.doors.post(f"lots/{lot['lot']['id']}/{action}", reason)


def _moment(loading: Loading, day: str, at: time) -> str:
    zone = ZoneInfo(loading.doors.site.time_zone)
    return datetime.combine(date.fromisoformat(day), at, zone).isoformat()


def orders(loading: Loading, table: Table) -> None:
    """Take in orders, each with the rows of its halves; one that is there is left as it is."""
    there = {row["number"] for row in loading.doors.rows("tool-orders")}
    for number, rows in _grouped(table, lambda row: row.values["number"]).items():
        bodies = [loading.body(table.sheet, row) for row in rows]
        if None in bodies or not _alike(loading, table, rows, HEAD):
            continue
        if number in there:
            loading.count(table.sheet.name).same += len(rows)
            continue
        head: dict[str, Any] = bodies[0] or {}
        body: dict[str, Any] = {n: head[n] for n in HEAD if n in head and n != "held_reason"}
        body |= {"site": loading.doors.site.code, "number": number}
        body["route"] = rows[0].values["route"]
        body["pours"] = [_pour(one or {}) for one in bodies]

        def place(parts: list[str], rows: list[Row] = rows) -> tuple[Any, int, str]:
            if parts[:1] == ["pours"] and len(parts) > 1 and parts[1].isdigit():
                column = parts[2] if len(parts) > 2 else ""
                own = {to: name for name, to in OWN_DATES.items()}
                return table.sheet, rows[int(parts[1])].line, own.get(column, column)
            return table.sheet, rows[0].line, parts[0] if parts else ""

        try:
            made = loading.doors.post("tool-orders", body)
            if head.get("held_reason"):
                reason = {"reason": head["held_reason"]}
                loading.doors.post(f"tool-orders/{made['id']}/holds", reason)
        except Refused as error:
            loading.refused(error, place)
        else:
            loading.count(table.sheet.name).new += len(rows)


def _pour(body: dict[str, Any]) -> dict[str, Any]:
    pour = {
        name: value for name, value in body.items() if name not in (*HEAD, "number", *OWN_DATES)
    }
    return pour | {to: body[name] for name, to in OWN_DATES.items() if name in body}


READERS: dict[str, Callable[[Loading, Table], None]] = {
    "Shop": shop,
    "People": people,
    "Resin systems": systems,
    "Release clashes": clashes,
    "Routes": routes,
    STEPS.name: steps,
    "Stock": stock,
    "Tools": tools,
    "Orders": orders,
}
"""How a sheet is read where `plain` is not enough."""
