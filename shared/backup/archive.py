"""
One file that holds a whole shop: its database, its documents and photos, its keys.

A ZIP archive (ISO/IEC 21320-1) with `database.sqlite3` or `database.sql`, `files/...` as they lie
in the data folder's `media`, `own/...`, and `manifest.json`, which names each part with its size
and SHA-256, when it was made, and which migrations its tables have.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from shared.backup import databases
from shared.backup.databases import BackupError

FORMAT = 1
MANIFEST = "manifest.json"
MOST_MANIFEST_BYTES = 50_000_000
OWN = ("secret_key", "authority", "example-shop")
"""What else of the data folder is the shop's: key, certificates, whether it is the example."""
SPARE_BYTES = 100_000_000
"""Room left on a disk by whatever is copied."""
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Made:
    """A copy that was made."""

    path: Path
    bytes: int
    files: int
    left_out: tuple[str, ...]
    """Files that went away while they were copied."""


@dataclass(frozen=True)
class Manifest:
    """What a copy says of itself."""

    made_at: str
    engine: str
    migrations: dict[str, list[str]]
    parts: dict[str, dict[str, Any]]


def back_up(to: Path, now: datetime) -> Made:
    """
    Copy the shop into one new file while people go on working.

    The database is copied first: a file that a row names was there before the row.

    Raises
    ------
    BackupError
        The file exists, the disk lacks room, or the database cannot be copied. Nothing is left.
    """
    if to.exists():
        raise BackupError(f"{to} exists already; give another name.")
    to.parent.mkdir(parents=True, exist_ok=True)
    _check_room(to.parent)
    handle, name = tempfile.mkstemp(prefix=".making-", dir=to.parent)
    os.close(handle)  # made by mkstemp, so that nobody else may read it
    part = Path(name)
    try:
        with tempfile.TemporaryDirectory(prefix=".making-", dir=to.parent) as folder:
            dumped = Path(folder) / databases.PART[databases.engine()]
            databases.dump(dumped)
            left_out = _write(part, dumped, now)
        check(part)
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.rename(to)
    except OSError as error:
        raise BackupError(f"{to} cannot be written: {error.strerror or error}.") from error
    finally:
        part.unlink(missing_ok=True)
    with zipfile.ZipFile(to) as archive:
        files = sum(name.startswith("files/") for name in archive.namelist())
    return Made(to, to.stat().st_size, files, tuple(left_out))


def _check_room(folder: Path) -> None:
    needed = 2 * databases.size() + SPARE_BYTES
    free = shutil.disk_usage(folder).free
    if free < needed:
        raise BackupError(
            f"{folder} has {free / 1e6:.0f} MB free; a copy needs {needed / 1e6:.0f} MB. Make "
            "room, or name a folder on another disk."
        )


def _write(to: Path, dumped: Path, now: datetime) -> list[str]:
    parts: dict[str, dict[str, Any]] = {}
    left_out = []
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        parts[dumped.name] = _add(archive, dumped, dumped.name)
        for file, name in _files():
            try:
                parts[name] = _add(archive, file, name)
            except FileNotFoundError:
                left_out.append(name)
        manifest = {
            "format": FORMAT,
            "made_at": now.isoformat(timespec="seconds"),
            "engine": databases.engine(),
            "migrations": _applied(),
            "parts": parts,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return left_out


def _files() -> Iterator[tuple[Path, str]]:
    """Yield each file of the data folder that belongs to the shop, and its name in a copy."""
    roots = [(Path(settings.MEDIA_ROOT), "files")]
    roots += [(settings.DATA / name, f"own/{name}") for name in OWN]
    for root, name in roots:
        if root.is_file():
            yield root, name
        for file in sorted(root.rglob("*")) if root.is_dir() else ():
            if file.is_file() and not file.is_symlink():
                yield file, f"{name}/{file.relative_to(root).as_posix()}"


def _add(archive: zipfile.ZipFile, file: Path, name: str) -> dict[str, Any]:
    with file.open("rb") as source, archive.open(name, "w", force_zip64=True) as target:
        return _copy(source, target)


def _copy(source: IO[bytes], target: IO[bytes] | None) -> dict[str, Any]:
    digest, count = hashlib.sha256(), 0
    while block := source.read(_BLOCK):
        digest.update(block)
        count += len(block)
        if target is not None:
            target.write(block)
    return {"bytes": count, "sha256": digest.hexdigest()}


def _applied() -> dict[str, list[str]]:
    loader = MigrationLoader(connection)
    found: dict[str, list[str]] = {}
    for app, name in sorted(loader.applied_migrations):
        found.setdefault(app, []).append(name)
    return found


def check(path: Path) -> Manifest:
    """
    Read every byte of a copy and compare it with the manifest.

    Raises
    ------
    BackupError
        It is no copy of a shop, or not whole.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest(archive, path)
            for name in manifest.parts:
                with archive.open(name) as source:
                    _compare(path, name, manifest, _copy(source, None))
    except (OSError, zipfile.BadZipFile, EOFError, KeyError, ValueError) as error:
        raise _damaged(path, error) from error
    return manifest


def unpack(path: Path, manifest: Manifest, into: Path) -> None:
    """Write the parts of a copy into a folder, each compared with the manifest."""
    try:
        with zipfile.ZipFile(path) as archive:
            for name in manifest.parts:
                to = into / name
                to.parent.mkdir(parents=True, exist_ok=True)
                # Keys and rows are nobody else's to read, whatever the umask.
                handle = os.open(to, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
                with archive.open(name) as source, os.fdopen(handle, "wb") as target:
                    _compare(path, name, manifest, _copy(source, target))
    except (zipfile.BadZipFile, EOFError, KeyError, ValueError) as error:
        raise _damaged(path, error) from error


def _damaged(path: Path, error: Exception) -> BackupError:
    return BackupError(f"{path} cannot be read as a copy of a shop: {error}. Try an older copy.")


def _compare(path: Path, name: str, manifest: Manifest, found: dict[str, Any]) -> None:
    if found != manifest.parts[name]:
        raise BackupError(
            f"{path} is damaged: {name} differs from its checksum. Try an older copy."
        )


def _manifest(archive: zipfile.ZipFile, path: Path) -> Manifest:
    if archive.getinfo(MANIFEST).file_size > MOST_MANIFEST_BYTES:
        raise BackupError(f"{path} is no copy of a shop: its manifest is too long.")
    data = json.loads(archive.read(MANIFEST))
    if data.get("format") != FORMAT:
        raise BackupError(
            f"{path} has format {data.get('format')}; this version reads {FORMAT}. Use the "
            "version of the product that made it."
        )
    found = Manifest(data["made_at"], data["engine"], data["migrations"], data["parts"])
    wrong = [name for name in found.parts if not _is_ours(name, found.engine)]
    if wrong or databases.PART.get(found.engine) not in found.parts:
        raise BackupError(f"{path} is no copy of a shop: {(wrong or ['no database'])[0]!r}.")
    return found


def _is_ours(name: str, engine: str) -> bool:
    """Tell whether a part's name stays inside the folder that it is written to."""
    at = PurePosixPath(name)
    if at.is_absolute() or ".." in at.parts or "\\" in name or "\0" in name:
        return False
    return name == databases.PART.get(engine) or at.parts[0] in ("files", "own")
