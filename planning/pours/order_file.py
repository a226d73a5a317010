"""Tool orders from a CSV file: every bad row named, all rows taken in or none."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from planning.pours import actions
from planning.pours.models import Pour, ToolOrder, ToolSide
from planning.pours.shapes import casting_of
from planning.routes.models import Route
from shared.csv_rows import at_line, rows_of
from shared.errors import FieldProblem, Invalid, ShopError
from shop import stores

MOST_ROWS = 50_000
ORDER_COLUMNS = (
    "order",
    "tool",
    "tool_name",
    "route",
    "customer",
    "customer_reference",
    "due_on",
    "earliest_on",
    "priority",
)
POUR_COLUMNS = (
    "half",
    "system",
    "geometry",
    "length_mm",
    "width_mm",
    "depth_mm",
    "draft_deg",
    "pattern_l",
    "pattern_height_mm",
    "stated_l",
    "brush_coat_kg",
    "release_area_m2",
    "release_recipe",
    "tool_side",
    "mix_c",
    "mould_c",
    "oven_c",
    "may_share",
    "same_place",
)
COLUMNS = ORDER_COLUMNS + POUR_COLUMNS
NUMBERS = tuple(
    name for name in POUR_COLUMNS if name.endswith(("_mm", "_deg", "_l", "_kg", "_m2", "_c"))
)
NEEDED = ("order", "tool", "route", "due_on", "system", "depth_mm")


class BadCell(ValueError):
    """A cell that cannot be read; says what would be accepted."""


def load_pours(
    *, site_id: int, data: bytes, now: datetime, dry_run: bool = False
) -> list[ToolOrder]:
    """
    Take in every order of a CSV file, or none when any row is bad.

    Raises
    ------
    Invalid
        With one problem for each bad cell, its pointer ``#/rows/<line>/<column>``; the line
        counts from 1 with the header as line 1.
    """
    problems: list[FieldProblem] = []
    orders: dict[str, dict[str, Any]] = {}
    lookups = _Lookups(site_id)
    for line, cells in rows_of(
        data, columns=COLUMNS, needed=NEEDED, most_rows=MOST_ROWS, numbers=NUMBERS
    ):
        try:
            _take_row(orders, lookups, line, cells, problems)
        except Invalid as error:
            problems += [at_line(line, problem) for problem in error.problems]
        except ShopError as error:
            problems.append(FieldProblem(f"#/rows/{line}", error.code, f"Line {line}: {error}"))
    problems += _check_orders(orders, lookups, now.date())
    if problems:
        raise Invalid(
            f"{len(problems)} problem{'s' * (len(problems) > 1)} found; nothing was stored. "
            "Correct the file and load the whole of it again.",
            tuple(problems),
        )
    if dry_run:
        return []
    for order in orders.values():
        for extra in ("line", "route_code"):
            order.pop(extra)
    return actions.take_orders({**order, "now": now} for order in orders.values())


class _Lookups:
    """Codes of the shop, read once for the whole file."""

    def __init__(self, site_id: int) -> None:
        self.site_id = site_id
        self.systems = {system.code: system for system in stores.systems()}
        self.routes = {route.code: route for route in Route.objects.prefetch_related("steps")}
        self.recipes = {recipe.code: recipe for recipe in stores.recipes()}
        self.taken = set(
            ToolOrder.objects.filter(site_id=site_id).values_list("number", flat=True)
        )


def _take_row(
    orders: dict[str, dict[str, Any]],
    lookups: _Lookups,
    line: int,
    cells: dict[str, str],
    problems: list[FieldProblem],
) -> None:
    values: dict[str, Any] = {}
    before = len(problems)
    for column, text in cells.items():
        try:
            if text == "" and column not in NEEDED:
                continue
            values[column] = _read(column, text, lookups)
        except BadCell as error:
            problems.append(
                FieldProblem(
                    f"#/rows/{line}/{column}", "bad_cell", f"Line {line}: {error}", value=text
                )
            )
    if len(problems) > before:
        return
    pour = _pour_fields(values, lookups)
    casting_of(pour, values["system"].mixed_density_kg_l)
    head = {name: values[name] for name in ORDER_COLUMNS if name in values}
    order = orders.setdefault(values["order"], _order_fields(head, lookups, line))
    again = _order_fields(head, lookups, order["line"])
    if any(order[name] != again[name] for name in again if name != "pours"):
        problems.append(
            FieldProblem(
                f"#/rows/{line}/order",
                "order_differs",
                f"Line {line}: order {values['order']} has other values on line "
                f"{order['line']}; tool, route, dates, priority and customer must be the same.",
            )
        )
        return
    order["pours"].append(pour)


def _order_fields(head: dict[str, Any], lookups: _Lookups, line: int) -> dict[str, Any]:
    return {
        "site_id": lookups.site_id,
        "number": head["order"],
        "tool_code": head["tool"],
        "tool_name": head.get("tool_name", ""),
        "route": head["route"],
        "route_code": head["route"].code,
        "customer": head.get("customer", ""),
        "customer_reference": head.get("customer_reference", ""),
        "due_on": head["due_on"],
        "earliest_on": head.get("earliest_on"),
        "priority": head.get("priority", 1),
        "pours": [],
        "line": line,
    }


def _pour_fields(values: dict[str, Any], lookups: _Lookups) -> dict[str, Any]:
    fields = {name: values[name] for name in POUR_COLUMNS if name in values}
    fields["system_id"] = fields.pop("system").id
    recipe = fields.pop("release_recipe", None)
    if recipe is not None:
        fields["release_recipe_id"] = recipe.id
    fields.setdefault("half", "A")
    fields.setdefault("geometry", "volume" if "stated_l" in fields else "box")
    return fields


def _check_orders(
    orders: dict[str, dict[str, Any]], lookups: _Lookups, today: date
) -> list[FieldProblem]:
    problems = []
    for number, order in orders.items():
        line = order["line"]
        if words := actions.unlikely_due(order["due_on"], today):
            at = f"#/rows/{line}/due_on"
            problems.append(FieldProblem(at, "unlikely", f"Line {line}: {words}"))
        halves = sorted(pour["half"] for pour in order["pours"])
        wanted = ["A", "B"] if order["route"].kind == "matched" else ["A"]
        if halves != wanted:
            problems.append(
                FieldProblem(
                    f"#/rows/{line}/half",
                    "halves",
                    f"Line {line}: order {number} has halves {', '.join(halves)}; route "
                    f"{order['route_code']} casts {' and '.join(wanted)}.",
                )
            )
        if number in lookups.taken:
            problems.append(
                FieldProblem(
                    f"#/rows/{line}/order", "taken", f"Line {line}: order {number} is taken."
                )
            )
        if order["earliest_on"] and order["earliest_on"] > order["due_on"]:
            problems.append(
                FieldProblem(
                    f"#/rows/{line}/due_on",
                    "before_earliest",
                    f"Line {line}: due_on is {order['due_on']}; it must not be before "
                    f"earliest_on, {order['earliest_on']}.",
                )
            )
    return problems


def _read(column: str, text: str, lookups: _Lookups) -> Any:
    if column == "system":
        return _one_of(column, text, lookups.systems)
    if column == "route":
        return _one_of(column, text, lookups.routes)
    if column == "release_recipe":
        return _one_of(column, text, lookups.recipes)
    if column in READERS:
        return READERS[column](column, text)
    return _text(column, text)


def _one_of(column: str, text: str, known: dict[str, Any]) -> Any:
    try:
        return known[text]
    except KeyError:
        raise BadCell(
            f"{column} is {text!r}; known: {', '.join(sorted(known)) or 'none'}."
        ) from None


def _text(column: str, text: str) -> str:
    if not text.strip() and column in NEEDED:
        raise BadCell(f"{column} is empty.")
    if len(text) > 120:
        raise BadCell(f"{column} has {len(text)} signs; at most 120.")
    return text


def _code(column: str, text: str) -> str:
    ok = text[:1].isalnum() and all(c.isalnum() or c in "._-" for c in text)
    if not (text.isascii() and ok and len(text) <= 40):
        raise BadCell(
            f"{column} is {text!r}; use letters, digits, dot, hyphen, underscore, at most 40."
        )
    return text


def _day(column: str, text: str) -> date:
    try:
        if len(text) != 10:
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise BadCell(f"{column} is {text!r}; give a date that exists as 2026-12-04.") from None


def _number(column: str, text: str) -> Decimal:
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise BadCell(
            f"{column} is {text!r}; give a number with a decimal point and no thousands separator."
        ) from None
    unit = column.rpartition("_")[2]
    if not value.is_finite() or "e" in text.lower():
        raise BadCell(f"{column} is {text!r}; give a plain number of {unit}.")
    if value < 0:
        raise BadCell(f"{column} is {value} {unit}; it must be 0 {unit} or more.")
    kept: Any = Pour._meta.get_field(column)
    whole = Decimal(10) ** (kept.max_digits - kept.decimal_places)
    if value >= whole:
        raise BadCell(f"{column} is {value} {unit}; it must be below {whole} {unit}.")
    if value != value.quantize(Decimal(1).scaleb(-kept.decimal_places)):
        raise BadCell(
            f"{column} is {value} {unit}; give at most {kept.decimal_places} decimal"
            f"{'s' * (kept.decimal_places > 1)}."
        )
    return value


def _priority(column: str, text: str) -> int:
    if text not in tuple("123456789"):
        raise BadCell(f"{column} is {text!r}; give 1 (usual) to 9.")
    return int(text)


def _yes(column: str, text: str) -> bool:
    if text not in ("yes", "no"):
        raise BadCell(f"{column} is {text!r}; give yes or no.")
    return text == "yes"


def _choice(*accepted: str) -> Callable[[str, str], str]:
    def read(column: str, text: str) -> str:
        if text not in accepted:
            raise BadCell(f"{column} is {text!r}; give one of {', '.join(accepted)}.")
        return text

    return read


READERS: dict[str, Callable[[str, str], Any]] = {
    "order": _code,
    "tool": _code,
    "due_on": _day,
    "earliest_on": _day,
    "priority": _priority,
    "half": _choice("A", "B"),
    "geometry": _choice("box", "volume"),
    "tool_side": _choice(*ToolSide.values),
    "may_share": _yes,
    "same_place": _yes,
    **dict.fromkeys(NUMBERS, _number),
}
