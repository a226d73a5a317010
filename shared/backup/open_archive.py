"""
The whole shop in one open archive: a ZIP of JSON lines, one file for each table, and documents.

Nothing in it depends on the kind of database: what was kept in SQLite can go into PostgreSQL and
back. `manifest.json` names each part with its size and SHA-256 and the rows of each table.
Passwords, tokens and secrets stay behind; one person is given a password when it is read.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, transaction
from django.db.migrations.loader import MigrationLoader

from shared.access.models import Site, User
from shared.access.queries import is_unfounded
from shared.backup.databases import BackupError
from shared.backup.rows import lines, row_of, tables
from shared.errors import Invalid

FORMAT = "casting-shop-archive-1"
MANIFEST = "manifest.json"
MOST_MANIFEST_BYTES = 20_000_000
MOST_PARTS = 200_000
MOST_UNPACKED_BYTES = 20_000_000_000
MOST_TIMES = 300
"""So many times its own size an archive may unpack to; rows as JSON pack 10 to 40 times."""
SMALL = 50_000_000
MOST_LINE_BYTES = 50_000_000
SPARE_BYTES = 100_000_000
AT_ONCE = 500
_BLOCK = 1 << 20
ABOUT = """The whole of a casting shop: tables/*.jsonl hold one row of a table a line, as JSON
(RFC 8259) in UTF-8; decimal numbers and times are text; documents/ holds files as rows name them.
manifest.json lists each part with its size and SHA-256. Passwords, tokens and secrets are left
out. Read it into an empty installation with: python manage.py read_archive FILE --admin NAME
"""


@dataclass(frozen=True)
class Written:
    """An archive that was written."""

    path: Path
    rows: int
    documents: int


@dataclass(frozen=True)
class Read:
    """An archive that was read in."""

    made_at: str
    rows: int
    documents: int


def write(to: Path, now: datetime) -> Written:
    """
    Write the whole shop into one new file.

    The tables are read in one transaction, so that they are of one moment; documents after them,
    for a file that a row names was there before the row.

    Raises
    ------
    BackupError
        The file exists or cannot be written. Nothing is left then.
    """
    if to.exists():
        raise BackupError(f"{to} exists already; give another name.")
    to.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".making-", dir=to.parent)
    os.close(handle)
    part = Path(name)
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
            parts, rows = _write_tables(archive)
            documents = _write_documents(archive)
            archive.writestr("README.txt", ABOUT)
            manifest = {
                "format": FORMAT, "made_at": now.isoformat(timespec="seconds"),
                "migrations": _migrations(), "parts": parts | documents, "rows": rows,
            }  # fmt: skip
            archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
        part.rename(to)
    except OSError as error:
        raise BackupError(f"{to} cannot be written: {error.strerror or error}.") from error
    finally:
        part.unlink(missing_ok=True)
    return Written(to, sum(rows.values()), len(documents))


def _write_tables(archive: zipfile.ZipFile) -> tuple[dict[str, Any], dict[str, int]]:
    parts: dict[str, Any] = {}
    rows: dict[str, int] = {}
    with _one_moment():
        for model in tables():
            label = model._meta.label
            name = f"tables/{label}.jsonl"
            digest, size, count = hashlib.sha256(), 0, 0
            with archive.open(name, "w", force_zip64=True) as target:
                for line in lines(model):
                    data = f"{line}\n".encode()
                    target.write(data)
                    digest.update(data)
                    size, count = size + len(data), count + 1
            parts[name] = {"bytes": size, "sha256": digest.hexdigest()}
            rows[label] = count
    return parts, rows


@contextmanager
def _one_moment() -> Iterator[None]:
    """Read in one transaction that sees no later change; SQLite's always do."""
    with transaction.atomic():
        outermost = len(connection.savepoint_ids) == 0
        if connection.vendor == "postgresql" and outermost:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield


def _write_documents(archive: zipfile.ZipFile) -> dict[str, Any]:
    root = Path(settings.MEDIA_ROOT)
    parts: dict[str, Any] = {}
    for file in sorted(root.rglob("*")) if root.is_dir() else ():
        if not file.is_file() or file.is_symlink():
            continue
        name = f"documents/{file.relative_to(root).as_posix()}"
        try:
            with file.open("rb") as source, archive.open(name, "w", force_zip64=True) as target:
                parts[name] = _copy(source, target.write)
        except FileNotFoundError:
            continue  # taken away meanwhile, with its row
    return parts


def _copy(source: IO[bytes], write: Callable[[bytes], Any]) -> dict[str, Any]:
    digest, count = hashlib.sha256(), 0
    while block := source.read(_BLOCK):
        digest.update(block)
        count += len(block)
        write(block)
    return {"bytes": count, "sha256": digest.hexdigest()}


def _migrations() -> dict[str, str]:
    """Return the last migration of each app whose tables are the shop's."""
    apps = {model._meta.app_label for model in tables()}
    found: dict[str, str] = {}
    for app, name in sorted(MigrationLoader(connection).disk_migrations):
        if app in apps:
            found[app] = name
    return found


def read(path: Path, *, admin: str, password: str) -> Read:
    """
    Read an archive into an empty installation: all of it, or nothing.

    Parameters
    ----------
    path : pathlib.Path
        A file that `write` made, by this version of the product.
    admin, password : str
        Sign-in name of somebody in it, and the password given to them.

    Raises
    ------
    BackupError
        There is a shop here already, or the archive is damaged, hostile or of another version.
    Invalid
        Nobody of that name is in it, or the password is too weak.
    """
    if not is_unfounded():
        raise BackupError(
            "There is a shop here already; an archive is read into an empty installation: set "
            "SHOP_DATA to a folder of its own."
        )
    media = Path(settings.MEDIA_ROOT)
    if media.is_dir() and any(media.iterdir()):
        raise BackupError(f"{media} holds files already; an archive needs an empty place.")
    try:
        with (
            zipfile.ZipFile(path) as archive,
            tempfile.TemporaryDirectory(prefix=".reading-", dir=settings.DATA) as folder,
        ):
            manifest = _checked_manifest(archive, path)
            documents = _unpack_documents(archive, manifest, Path(folder))
            with transaction.atomic():
                rows = sum(_read_table(archive, manifest, model) for model in tables())
                _set_password(admin, password)
                if not Site.objects.exists():
                    raise BackupError(f"{path} holds no shop.")
                _check_links()
                _reset_sequences()
                _move(Path(folder), media)
    except (zipfile.BadZipFile, EOFError, KeyError, ValueError, RuntimeError, OSError,
            DatabaseError) as error:  # fmt: skip
        words = f"{path} cannot be read as the archive of a shop: {str(error)[:200]}."
        raise BackupError(words) from error
    return Read(manifest["made_at"], rows, documents)


def _checked_manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    infos = archive.infolist()
    packed, unpacked = path.stat().st_size, sum(one.file_size for one in infos)
    most = min(MOST_UNPACKED_BYTES, max(SMALL, MOST_TIMES * packed))
    if len(infos) > MOST_PARTS or unpacked > most:
        raise ValueError(f"its {len(infos)} parts unpack to {unpacked:,} bytes, too much for it")
    free = shutil.disk_usage(settings.DATA).free
    if unpacked + SPARE_BYTES > free:
        raise BackupError(f"The archive needs {unpacked:,} bytes; the disk has {free:,} free.")
    if archive.getinfo(MANIFEST).file_size > MOST_MANIFEST_BYTES:
        raise ValueError("its manifest is too long")
    manifest = json.loads(archive.read(MANIFEST))
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise ValueError("it has another format")
    if manifest.get("migrations") != _migrations():
        raise BackupError(
            f"{path} was written by another version of the product; read it with that version, "
            "upgrade, and write it again."
        )
    names = [one.filename for one in infos]
    if len(set(names)) != len(names):
        raise ValueError("a name stands in it twice")
    known = {f"tables/{model._meta.label}.jsonl" for model in tables()}
    parts = manifest.get("parts")
    if not isinstance(parts, dict) or set(parts) != set(names) - {MANIFEST, "README.txt"}:
        raise ValueError("its manifest names other parts than it has")
    if wrong := [name for name in parts if name not in known and not _is_document(name)]:
        raise ValueError(f"it has a part {wrong[0][:80]!r}")
    if missing := known - set(parts):
        raise ValueError(f"the table {min(missing)} is missing")
    return manifest


def _is_document(name: str) -> bool:
    """Tell whether a document's name stays inside the folder that it is written to."""
    at = PurePosixPath(name)
    inside = at.parts[:1] == ("documents",) and len(at.parts) > 1
    clean = not at.is_absolute() and ".." not in at.parts and str(at) == name
    return inside and clean and "\\" not in name and "\0" not in name


def _unpack_documents(archive: zipfile.ZipFile, manifest: dict[str, Any], into: Path) -> int:
    count = 0
    for name, told in manifest["parts"].items():
        if not name.startswith("documents/"):
            continue
        to = into / PurePosixPath(name).relative_to("documents")
        to.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(to, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with archive.open(name) as source, os.fdopen(handle, "wb") as target:
            if _copy(source, target.write) != told:
                raise ValueError(f"{name} differs from its checksum")
        count += 1
    return count


def _read_table(archive: zipfile.ZipFile, manifest: dict[str, Any], model: Any) -> int:
    """Take in one table; what an empty installation has in it by itself makes room."""
    name = f"tables/{model._meta.label}.jsonl"
    model._base_manager.all()._raw_delete(model._base_manager.db)  # as no signal would have it
    count, size, digest, rows = 0, 0, hashlib.sha256(), []
    with archive.open(name) as packed:
        stream = io.BufferedReader(packed, _BLOCK)  # type: ignore[type-var]
        while line := stream.readline(MOST_LINE_BYTES):
            if not line.endswith(b"\n"):
                raise ValueError(f"a line of {name} does not end")
            digest.update(line)
            size += len(line)
            rows.append(row_of(model, line))
            count += 1
            if len(rows) == AT_ONCE:
                _store(model, rows)
                rows = []
    _store(model, rows)
    told = manifest["parts"][name]
    if {"bytes": size, "sha256": digest.hexdigest()} != told:
        raise ValueError(f"{name} differs from its checksum")
    if manifest.get("rows", {}).get(model._meta.label) != count:
        raise ValueError(f"{name} has {count} rows, its manifest says otherwise")
    return count


def _store(model: Any, rows: list[Any]) -> None:
    if rows:
        model._base_manager.bulk_create(rows)


def _set_password(admin: str, password: str) -> None:
    person = User.objects.filter(username=admin, is_active=True).first()
    if person is None:
        names = User.objects.filter(is_active=True, memberships__role="administrator")
        known = ", ".join(sorted(set(names.values_list("username", flat=True)))[:20])
        words = f"{admin[:60]!r} signs in nowhere in it; its administrators are: {known}."
        raise Invalid.one("admin", "does_not_exist", words, value=admin[:60])
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid.one("password", "too_weak", " ".join(error.messages)) from None
    person.set_password(password)
    User.objects.filter(pk=person.pk).update(password=person.password)


def _check_links() -> None:
    """Refuse rows that name others which are not there, now and not at the commit."""
    connection.check_constraints()


def _reset_sequences() -> None:
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), tables()):
            cursor.execute(statement)


def _move(source: Path, media: Path) -> None:
    """Put the documents into their place; the last step, so that nothing is there if one fails."""
    media.mkdir(parents=True, exist_ok=True)
    for one in sorted(source.iterdir()):
        shutil.move(one, media / one.name)
