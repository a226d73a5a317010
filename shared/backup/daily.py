"""The copy of each day: made by the worker, so many kept, and what people are told of it."""

from __future__ import annotations

import fcntl
import logging
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings

from shared.backup import archive
from shared.backup.databases import BackupError
from shared.gauges import Gauge, age_s

EVERY = timedelta(hours=20)
"""Less than a day, so that a shop opened a little earlier than yesterday has its copy."""
LATE = timedelta(days=3)
"""A shop closed over a weekend is not late; one longer without a copy says so."""
A_MOMENT = timedelta(minutes=1)
FAILED = "last-failure"
_NAME = re.compile(r"shop-(\d{8}-\d{6})\.zip")
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class State:
    """Copies as a page tells of them."""

    folder: Path
    kept: int
    """How many are kept; 0: the timetable makes none."""
    last: datetime | None
    bytes: int
    failure: str
    late: bool


def copies(folder: Path) -> list[tuple[datetime, Path]]:
    """Return the copies in a folder, the newest first."""
    found = []
    for path in folder.glob("shop-*.zip"):
        if match := _NAME.fullmatch(path.name):
            at = datetime.strptime(f"{match[1]}+0000", "%Y%m%d-%H%M%S%z")
            found.append((at, path))
    return sorted(found, reverse=True)


def make(now: datetime) -> Path:
    """
    Make a copy now, throw away the oldest ones beyond those kept, return where it is.

    Asked twice within a minute, by two people or by two taps, it is the same copy.
    """
    folder = Path(settings.BACKUP_FOLDER)
    folder.mkdir(parents=True, exist_ok=True)
    try:
        with (folder / "lock").open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            for at, path in copies(folder)[:1]:
                if abs(now - at) < A_MOMENT:
                    return path
            made = archive.back_up(folder / f"shop-{now:%Y%m%d-%H%M%S}.zip", now).path
    except BackupError as error:
        log.error("No copy of the shop was made: %s", error.message)
        (folder / FAILED).write_text(error.message, encoding="utf-8")
        raise
    (folder / FAILED).unlink(missing_ok=True)
    for _, path in copies(folder)[max(settings.BACKUPS_KEPT, 1) :]:
        path.unlink(missing_ok=True)
    return made


def make_if_due(now: datetime) -> Path | None:
    """Make the copy of the day if the shop wants one and the last is old enough."""
    if not settings.BACKUPS_KEPT:
        return None
    found = copies(Path(settings.BACKUP_FOLDER))
    if found and now - found[0][0] < EVERY:
        return None
    return make(now)


def copy_gauges(now: datetime) -> list[Gauge]:
    """Return how old the last copy is, where the timetable makes them."""
    if not settings.BACKUPS_KEPT:
        return []
    about = "Age of the newest copy of the shop; 0 before the first."
    return [Gauge("shop_copy_age_seconds", about, age_s(now, state(now).last))]


def state(now: datetime) -> State:
    """Return when the last copy was made, and what went wrong since."""
    folder = Path(settings.BACKUP_FOLDER)
    found = copies(folder)
    last, size = (found[0][0], found[0][1].stat().st_size) if found else (None, 0)
    failed = folder / FAILED
    failure = failed.read_text(encoding="utf-8")[:600] if failed.exists() else ""
    late = bool(settings.BACKUPS_KEPT) and last is not None and now - last > LATE
    return State(folder, settings.BACKUPS_KEPT, last, size, failure, late)
