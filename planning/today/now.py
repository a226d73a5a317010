"""What a person does now: the one thing first, by when, with one button. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from planning.batches.models import BatchStatus
from planning.routes.models import Phase

AT_THE_POT, BEGUN, DUE, LATER = range(4)


@dataclass(frozen=True)
class Card:
    """
    One thing to do.

    Attributes
    ----------
    rank : int
        A living pot comes before a begun one, that before what is due, that before what comes.
    at, by : datetime
        From when and until when it is to be done.
    page, pk : str, int
        The page that its button opens; `part` is the place on it.
    sign : int or None
        The step that the button signs instead, where nothing is to be measured.
    """

    rank: int
    at: datetime
    by: datetime
    title: str
    words: str
    button: str
    page: str
    pk: int
    part: str = ""
    sign: int | None = None

    def is_late(self, now: datetime) -> bool:
        """Whether its time has run out."""
        return self.rank != LATER and self.by < now


def card(
    batches: Iterable[Mapping[str, Any]],
    steps: Iterable[Mapping[str, Any]],
    demoulds: Iterable[Mapping[str, Any]],
    now: datetime,
) -> Card | None:
    """Return what comes first of the rows of a person's sheet; None where nothing is left."""
    found = [
        *filter(None, (_of_batch(row, now) for row in batches)),
        *(_of_step(row, now) for row in steps if row["done_at"] is None and row["start_at"]),
        *(_of_demould(row) for row in demoulds if row["ready"]),
    ]
    return min(
        found,
        key=lambda one: (one.rank, one.at if one.rank == LATER else one.by, one.title),
        default=None,
    )


def _of_batch(row: Mapping[str, Any], now: datetime) -> Card | None:
    into = ", ".join(f"{one['pour']} lift {one['lift']}" for one in row["portions"])
    number, start, contact = row["number"], row["start_at"], row["contact_at"]
    cans = ", ".join(f"{line['role']} from {line['container']}" for line in row["lines"])
    from_into = f"From the cans: {cans}. Into {into}."
    if row["barred"]:
        stops = (f"{one['words']} {one['what_to_do']}" for one in row["barred"])
        from_into = f"Stop. {' '.join(stops)} Into {into}."

    def made(rank: int, by: datetime, title: str, words: str) -> Card:
        return Card(rank, start, by, title, words, "Open the batch", "batch", row["id"])

    if row["status"] == BatchStatus.MIXING:
        return made(
            AT_THE_POT,
            row["latest_pour_at"],
            f"Pour batch {number}",
            f"Its pot life runs. Into {into}.",
        )
    if row["status"] in (BatchStatus.WEIGHING, BatchStatus.WEIGHED):
        return made(BEGUN, contact, f"Go on with batch {number}", from_into)
    if row["status"] == BatchStatus.PLANNED:
        rank = DUE if start <= now else LATER
        return made(
            rank,
            contact,
            f"Weigh and mix batch {number}",
            from_into,
        )
    return None


def _of_step(row: Mapping[str, Any], now: datetime) -> Card:
    measured = bool(row["checks"]) or row["phase"] == Phase.AFTER
    return Card(
        DUE if row["start_at"] <= now else LATER,
        row["start_at"],
        row["end_at"] or row["start_at"],
        row["name"],
        f"{row['pour']}, {row['tool']}.",
        "Measure and sign" if measured else "Done: sign it",
        "pour",
        row["pour_id"],
        f"step-{row['id']}",
        None if measured else row["id"],
    )


def _of_demould(row: Mapping[str, Any]) -> Card:
    place = f", {row['place']}" if row["place"] else ""
    return Card(
        DUE,
        row["due_at"],
        row["due_at"],
        f"Take {row['pour']} off its mould",
        f"{row['tool']}{place}. It has cured.",
        "Open the pour",
        "pour",
        row["pour_id"],
        "demould",
    )
