"""What a sheet of the workbook and a column of it are. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

Kind = Literal[
    "text", "whole", "number", "day", "clock", "yes", "choice", "link", "words", "weekdays",
    "hours", "rows", "json",
]  # fmt: skip
FORMS: Mapping[Kind, str] = {
    "text": "text",
    "whole": "whole number",
    "number": "number",
    "day": "date, 2026-11-30",
    "clock": "time, 06:30",
    "yes": "yes or no",
    "choice": "one word of the list",
    "link": "code",
    "words": "words with commas between",
    "weekdays": "weekdays, Sat, Sun",
    "hours": "hours, 07:00-12:00, 12:30-15:30; empty: off",
    "rows": "entries with ; between, their parts with |",
    "json": "JSON",
}  # fmt: skip
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class Column:
    """One column: its name, what may stand in it, and a sentence for whoever fills it in."""

    name: str
    kind: Kind
    about: str
    needed: bool = False
    choices: tuple[str, ...] = ()
    link: str = ""
    """Name of the sheet whose codes may stand here."""
    members: tuple[tuple[str, Kind], ...] = ()
    """Of `rows`: the parts of one entry, in their order."""
    example: Any = None
    """What stands in the sample's first row; a day as a number of days from today."""

    @property
    def form(self) -> str:
        """Return in words what may stand in a cell."""
        if self.kind == "choice":
            return f"one of: {', '.join(self.choices)}"
        if self.kind == "link":
            return f"code of the sheet {self.link}"
        if self.kind == "rows":
            return f"{' | '.join(name for name, _ in self.members)}; the next after a semicolon"
        return FORMS[self.kind]


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, what it is for, where its rows go, what tells two rows apart."""

    name: str
    about: str
    address: str
    """The REST address whose rules hold, such as `mixers`."""
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    more: tuple[Mapping[str, Any], ...] = ()
    """Further rows of the sample, by column; what is left out stays as in its first."""

    def column(self, name: str) -> Column:
        """Return the column of a name."""
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the columns, as the first row has them."""
        return tuple(column.name for column in self.columns)

    @property
    def needed(self) -> tuple[str, ...]:
        """Return the columns that no row may leave empty."""
        return tuple(column.name for column in self.columns if column.needed)


def text(name: str, about: str, example: Any = None, *, needed: bool = False) -> Column:
    """Return a column of text."""
    return Column(name, "text", about, needed, example=example)


def number(name: str, about: str, example: Any = None, *, needed: bool = False) -> Column:
    """Return a column of decimal numbers; the unit ends its name."""
    return Column(name, "number", about, needed, example=example)


def whole(name: str, about: str, example: Any = None, *, needed: bool = False) -> Column:
    """Return a column of whole numbers."""
    return Column(name, "whole", about, needed, example=example)


def day(name: str, about: str, example: Any = None, *, needed: bool = False) -> Column:
    """Return a column of days."""
    return Column(name, "day", about, needed, example=example)


def yes(name: str, about: str, example: Any = None) -> Column:
    """Return a column of yes and no."""
    return Column(name, "yes", about, example=example)


def choice(
    name: str, about: str, choices: str, example: Any = None, *, needed: bool = False
) -> Column:
    """Return a column of words of a list."""
    return Column(name, "choice", about, needed, tuple(choices.split()), example=example)


def link(
    name: str, sheet: str, about: str, example: Any = None, *, needed: bool = False
) -> Column:
    """Return a column of codes of another sheet, or of what the shop has already."""
    return Column(name, "link", about, needed, link=sheet, example=example)


CODE = text(
    "code", "Short and lasting; letters, digits, dot, hyphen. It stands on labels.", needed=True
)
NAME = text("name", "As people call it.", needed=True)
IN_USE = yes("in_use", "no: kept as a record, out of use. Empty: yes.")


def coded(code: str, name: str) -> tuple[Column, Column]:
    """Return the columns code and name with what the sample has in them."""
    return (
        Column("code", "text", CODE.about, True, example=code),
        Column("name", "text", NAME.about, True, example=name),
    )
