"""What a calculator answers: figures for people, the same for programs, pictures, notes."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from planning.core.casting.stricter import Limit

NOTHING = "–"


@dataclass(frozen=True)
class Figure:
    """One result, large."""

    label: str
    value: str
    unit: str = ""
    note: str = ""


@dataclass(frozen=True)
class Note:
    """A sentence with a tone: 'good', 'mind', 'stop' or ''."""

    words: str
    tone: str = ""


@dataclass(frozen=True)
class Table:
    """Rows beneath a picture, or on their own."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A drawing made here, safe to put on a page, with the words under it."""

    svg: str
    caption: str


@dataclass
class Answer:
    """A calculator's answer, put together figure by figure."""

    figures: list[Figure] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)
    data: dict[str, Any] = field(default_factory=dict)
    """The same for programs: decimal strings with the unit in the name, names of bases."""
    hazard_codes: tuple[str, ...] = ()
    signal_word: str = ""

    def add(
        self, name: str, label: str, value: float | None, unit: str, places: int, note: str = ""
    ) -> None:
        """Add one figure under a name that ends in its unit."""
        self.data[name] = decimal(value, places)
        self.figures.append(Figure(label, shown(value, places), unit, note))

    def add_limit(
        self, name: str, unit_name: str, label: str, limit: Limit, unit: str, places: int
    ) -> None:
        """Add a figure that binds, with its basis and both figures it was chosen from."""
        self.data[f"{name}_{unit_name}"] = decimal(limit.value, places)
        self.data[f"{name}_basis"] = limit.basis
        self.data[f"{name}_datasheet_{unit_name}"] = decimal(limit.datasheet, places)
        self.data[f"{name}_computed_{unit_name}"] = decimal(limit.computed, places)
        self.figures.append(
            Figure(label, shown(limit.value, places), unit, basis_words(limit, unit, places))
        )

    def say(self, words: str, tone: str = "") -> None:
        """Add a note."""
        self.notes.append(Note(words, tone))


def basis_words(limit: Limit, unit: str, places: int) -> str:
    """Name the basis of a limit, and the figure that gave way to it."""
    if limit.basis == "unknown":
        return "Not known: neither on the data sheet nor computable."
    if limit.value is None:
        return "Computed: not reached."
    other = limit.computed if limit.basis == "datasheet" else limit.datasheet
    name = "data sheet" if limit.basis == "datasheet" else "computed"
    if other is None:
        return f"From the {name}." if limit.basis == "datasheet" else "Computed."
    against = "computed" if limit.basis == "datasheet" else "data sheet"
    return f"Stricter: {name}; {against} {shown(other, places)} {unit}."


def decimal(value: float | None, places: int) -> str | None:
    """Write a number as the API does; nothing stays nothing."""
    if value is None:
        return None
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def places_of(*steps: float | None) -> int:
    """Return the decimals of the finest of some scale steps."""
    given = [Decimal(repr(step)).normalize() for step in steps if step is not None]
    return max(0, *(-int(step.as_tuple().exponent) for step in given))


def shown(value: float | None, places: int) -> str:
    """Write a number for people."""
    text = decimal(value, places)
    return NOTHING if text is None else text.replace("-", "−")
