"""A consistent copy of the database as one file, and the way back, for SQLite and PostgreSQL."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from typing import Any

from django.db import connection

from shared.access.models import User
from shared.errors import ShopError

SQLITE, POSTGRES = "sqlite", "postgresql"
PART = {SQLITE: "database.sqlite3", POSTGRES: "database.sql"}
"""Name of the database's file in a copy, by engine."""
_PG_VARIABLES = {
    "dbname": "PGDATABASE", "host": "PGHOST", "port": "PGPORT", "user": "PGUSER",
    "password": "PGPASSWORD", "sslmode": "PGSSLMODE", "sslrootcert": "PGSSLROOTCERT",
    "sslcert": "PGSSLCERT", "sslkey": "PGSSLKEY", "service": "PGSERVICE",
}  # fmt: skip
"""Variables by which PostgreSQL's programs take what Django connects with (libpq, 32.15)."""


class BackupError(ShopError):
    """A copy cannot be made or put back; the words say why and what to do."""


def engine() -> str:
    """Return which kind of database the shop keeps its rows in."""
    return connection.vendor


def size() -> int:
    """Return about how many bytes a copy of the database takes before it is packed."""
    if engine() == SQLITE:
        name = Path(connection.settings_dict["NAME"])
        return name.stat().st_size if name.exists() else 0
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        return int(cursor.fetchone()[0])


def dump(to: Path) -> None:
    """
    Write the database as it is at one moment into a file; writers go on meanwhile.

    Raises
    ------
    BackupError
        The copy cannot be made, or does not pass SQLite's own check.
    """
    if engine() == SQLITE:
        _dump_sqlite(Path(connection.settings_dict["NAME"]), to)
    else:
        run_postgres("pg_dump", "--no-owner", "--no-privileges", "--file", str(to))


def _dump_sqlite(name: Path, to: Path) -> None:
    if not name.exists():
        raise BackupError(f"{name} does not exist; there is no shop to copy.")
    # A connection of its own: inside a transaction of ours the copy would wait for itself.
    address = f"{name.resolve().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=60)) as source,
        closing(sqlite3.connect(to)) as target,
    ):
        source.backup(target)
        target.execute("PRAGMA journal_mode=DELETE")
        (verdict,) = target.execute("PRAGMA integrity_check(1)").fetchone()
    if verdict != "ok":
        raise BackupError(
            f"The database is damaged ({verdict}); no copy was made. Put the last good copy back "
            "with restore, into a new folder first."
        )


def run_postgres(program: str, *arguments: str) -> None:
    """Run one of PostgreSQL's own programs on the shop's database."""
    if shutil.which(program) is None:
        raise BackupError(
            f"{program} is not on this machine's path; install PostgreSQL's client programs, of "
            "the server's version or newer."
        )
    done = subprocess.run(
        [program, *arguments], env=_environment(), capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise BackupError(f"{program} ended with {done.returncode}: {done.stderr.strip()[-600:]}")


def _environment() -> dict[str, str]:
    given: dict[str, Any] = connection.get_connection_params()
    named = {name: str(given[key]) for key, name in _PG_VARIABLES.items() if given.get(key)}
    return {**os.environ, **named}


def is_empty() -> bool:
    """Tell whether the place to put a copy into holds no shop: no tables, or nobody in them."""
    if engine() == SQLITE:
        name = Path(connection.settings_dict["NAME"])
        if not name.exists() or not name.stat().st_size:
            return True
    if User._meta.db_table not in connection.introspection.table_names():
        return not connection.introspection.table_names()
    return not User.objects.exists()


def others_connected() -> int:
    """Return how many other connections work in a PostgreSQL database; 0 for SQLite."""
    if engine() == SQLITE:
        return 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
            "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        return int(cursor.fetchone()[0])


def load_postgres(file: Path) -> None:
    """Put a copy in the place of all that PostgreSQL's database holds, in one transaction."""
    connection.close()
    run_postgres(
        "psql", "--quiet", "--no-psqlrc", "--single-transaction", "--set", "ON_ERROR_STOP=1",
        "--output", os.devnull,
        "--command", "DROP SCHEMA public CASCADE; CREATE SCHEMA public;",
        "--file", str(file),
    )  # fmt: skip
