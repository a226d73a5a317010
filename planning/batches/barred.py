"""A lot that must not be used: which, since when, why and what to do; one wording everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from planning.batches.lines import weighed_into
from planning.batches.models import Batch, BatchStatus
from shared import clock
from shared.access.models import Site
from shared.templatetags.units import day as day_words

RELEASED = "released"


@dataclass(frozen=True)
class Barred:
    """Why a row's can must not be used, and what to do; full sentences."""

    words: str
    what_to_do: str


def barred_of(line: Any, site: Site, at: datetime) -> Barred | None:
    """
    Return why the can of a row must not be used at a moment; None where it may be.

    `line` is read with its can, lot and material, and with its weighings.
    """
    container, lot = line.container, line.container.lot
    named = f"Lot {lot.code} of {lot.material.name}"
    if lot.status != RELEASED:
        state = lot.get_status_display().lower()
        words = f"{named} is {state}{since_and_why(lot.status_at, lot.status_reason, site)}."
    elif lot.expires_on is not None and lot.expires_on < clock.local(at, site).date():
        words = f"{named} was good to {day_words(lot.expires_on)}."
    else:
        return None
    return Barred(words, _what_to_do(line, container.code, lot.material.name))


def barred_rows(batch: Batch) -> list[dict[str, str]]:
    """Return why cans of a batch must not be used when it is planned, each reason once."""
    found: dict[str, list[str]] = {}
    for line in batch.lines.all():
        barred = barred_of(line, batch.site, batch.planned_start)
        if barred is not None:
            found.setdefault(barred.words, []).append(barred.what_to_do)
    return [
        {"words": words, "what_to_do": " ".join(dict.fromkeys(todo))}
        for words, todo in found.items()
    ]


def since_and_why(since: datetime | None, reason: str, site: Site) -> str:
    """Return since when a lot has its status and why, to be put behind that status."""
    if since is None:
        told = ", since when is not recorded"
    else:
        local = clock.local(since, site)
        told = f" since {day_words(local.date())}, {local:%H:%M}"
    return f"{told}: {reason.rstrip(' .')}" if reason else f"{told}; no reason is recorded"


def _what_to_do(line: Any, can: str, material: str) -> str:
    kg = weighed_into(line)
    if kg and line.batch.status in (BatchStatus.POURED, BatchStatus.SCRAPPED):
        return f"{kg.normalize():f} kg of it are in this batch. Have its castings judged."
    if kg:
        return (
            f"{kg.normalize():f} kg of it are in the pot. Do not mix or pour it: ask quality; if "
            "the lot stays as it is, scrap the pot and weigh anew from another lot."
        )
    return (
        f"Do not weigh from can {can}. Fetch another can of {material} and give its code, or ask "
        "quality whether the lot may be used again."
    )
