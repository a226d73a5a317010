"""Database triggers that keep a table append-only, on SQLite and PostgreSQL."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper

TABLES = (
    "shop_movement",
    "shop_toolevent",
    "shop_toolfinding",
    "shop_repairlot",
    "shop_receiptterms",
    "shop_wasteentry",
    "shop_wastewithdrawal",
    "planning_weighing",
    "planning_weighingamendment",
    "planning_batchentry",
    "planning_temperaturereading",
    "planning_wrongreading",
    "planning_deliverynote",
    "planning_deliveryline",
    "shared_auditentry",
    "shared_event",
)
"""Tables whose rows are only ever added."""


def _statements(vendor: str, table: str) -> list[str]:
    words = f"{table} is append-only: add a correcting row instead"
    if vendor == "sqlite":
        return [
            f"CREATE TRIGGER IF NOT EXISTS {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{words}'); END"
            for verb in ("UPDATE", "DELETE")
        ]
    if vendor == "postgresql":
        function = (
            f"CREATE OR REPLACE FUNCTION {table}_append_only() RETURNS trigger AS $$ "
            f"BEGIN RAISE EXCEPTION '{words}' USING ERRCODE = 'restrict_violation'; END "
            "$$ LANGUAGE plpgsql"
        )
        return [
            function,
            *(
                f"CREATE OR REPLACE TRIGGER {table}_no_{event.split()[0].lower()} BEFORE {event} "
                f"ON {table} FOR EACH {level} EXECUTE FUNCTION {table}_append_only()"
                for event, level in (
                    ("UPDATE OR DELETE", "ROW"),
                    ("TRUNCATE", "STATEMENT"),
                )
            ),
        ]
    return []


def install(connection: BaseDatabaseWrapper, *tables: str) -> None:
    """Put the triggers on the named tables (all of `TABLES` by default); safe to repeat."""
    with connection.cursor() as cursor:
        for table in tables or TABLES:
            for statement in _statements(connection.vendor, table):
                cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper, *tables: str) -> None:
    """Take the triggers off, for emptying a test database or undoing a migration."""
    with connection.cursor() as cursor:
        for table in tables or TABLES:
            for verb in ("update", "delete", "truncate"):
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {table}_no_{verb}{on}")


def operation(*tables: str) -> Any:
    """Return the migration step that makes the tables append-only."""
    from django.db import migrations

    return migrations.RunPython(
        lambda apps, editor: install(editor.connection, *tables),
        lambda apps, editor: remove(editor.connection, *tables),
    )
