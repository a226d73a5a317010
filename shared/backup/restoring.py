"""Put a copy back: into an empty place, or in the place of a shop that is kept aside."""

from __future__ import annotations

import fcntl
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from shared.backup import archive, databases
from shared.backup.archive import Manifest
from shared.backup.databases import BackupError

OPEN_MARK = "open"
"""A file in the data folder, locked by every shop that is open on it."""


@dataclass(frozen=True)
class Restored:
    """What was put back, and where the former shop is."""

    manifest: Manifest
    kept: Path | None


@contextmanager
def shop_open(folder: Path) -> Iterator[None]:
    """Mark the data folder as in use while a shop is open on it."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / OPEN_MARK).open("a") as mark:
        try:
            fcntl.flock(mark, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BackupError(f"A copy is being put back into {folder}; wait for it.") from None
        yield


@contextmanager
def shop_closed(folder: Path) -> Iterator[None]:
    """Keep shops from opening on a data folder; refuse while one is open."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / OPEN_MARK).open("a") as mark:
        try:
            fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BackupError(
                f"The shop in {folder} is open; close it before a copy is put back."
            ) from None
        if count := databases.others_connected():
            raise BackupError(
                f"{count} other connections work in the database; stop web servers and workers "
                "before a copy is put back."
            )
        yield


def restore(path: Path, now: datetime, *, replace: bool) -> Restored:
    """
    Put a copy of a shop back; every byte is compared before anything is changed.

    Parameters
    ----------
    path : pathlib.Path
        A file that `archive.back_up` made.
    now : datetime.datetime
        Names the folder in which a replaced shop is kept.
    replace : bool
        Whether a shop that is there may be put aside.

    Raises
    ------
    BackupError
        The copy is damaged, of another kind of database or of a newer version, a shop is there
        already or open. The shop that was there is then as it was.
    """
    manifest = archive.check(path)
    _check_fits(path, manifest)
    data = Path(settings.DATA)
    with shop_closed(data):
        empty = databases.is_empty() and not any(Path(settings.MEDIA_ROOT).glob("*"))
        if not (empty or replace):
            raise BackupError(
                f"There is a shop in {data} already. Put the copy into a folder of its own with "
                "SHOP_DATA, or add --replace, which keeps the former shop aside."
            )
        kept = None if empty else data / f"replaced-{now:%Y%m%d-%H%M%S}"
        with tempfile.TemporaryDirectory(prefix=".restoring-", dir=data) as folder:
            archive.unpack(path, manifest, Path(folder))
            if kept is not None:
                kept.mkdir()
            if databases.engine() == databases.POSTGRES:
                if kept is not None:
                    archive.back_up(kept / "shop.zip", now)
                databases.load_postgres(Path(folder) / databases.PART[databases.POSTGRES])
            connection.close()
            _swap(Path(folder), data, kept)
    return Restored(manifest, kept)


def _check_fits(path: Path, manifest: Manifest) -> None:
    if manifest.engine != databases.engine():
        raise BackupError(
            f"{path} was made from {manifest.engine}; this shop keeps its rows in "
            f"{databases.engine()}."
        )
    known = set(MigrationLoader(None).disk_migrations)
    newer = [
        f"{app} {name}"
        for app, names in manifest.migrations.items()
        for name in names
        if (app, name) not in known
    ]
    if newer:
        raise BackupError(
            f"{path} was made by another or a newer version (it has {newer[-1]}); put it back "
            "with that version."
        )


def _swap(new: Path, data: Path, kept: Path | None) -> None:
    """Move what is there aside and the new parts into its place."""
    media = Path(settings.MEDIA_ROOT)
    places = {new / "files": media, **{new / "own" / n: data / n for n in archive.OWN}}
    if databases.engine() == databases.SQLITE:
        name = Path(connection.settings_dict["NAME"])
        places[new / databases.PART[databases.SQLITE]] = name
        for tail in ("-wal", "-shm"):  # a log of the former file must not meet the new one
            _aside(name.with_name(name.name + tail), kept)
    for source, place in places.items():
        if source.exists() or kept is not None or place == media:
            _aside(place, kept)
        if source.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.move(source, place)


def _aside(place: Path, kept: Path | None) -> None:
    if not place.exists():
        return
    if kept is not None:
        shutil.move(place, kept / place.name)
    elif place.is_dir():
        shutil.rmtree(place)
    else:
        place.unlink()
