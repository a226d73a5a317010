"""A migration step that makes the tables of many models at once, in a fraction of the time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.operations.models import CreateModel
from django.db.migrations.state import ProjectState


class AllTables(Operation):
    """
    Do all the steps in the state first, then make each table as it is after the last of them.

    Django draws every related model anew after each step, which took most of the time that an
    empty shop needs to be founded. Only `CreateModel` touches the database: the other steps
    (fields, indexes and constraints of two models that name each other) are part of the tables.
    """

    reduces_to_sql = True
    reversible = True

    def __init__(self, steps: Sequence[Operation]) -> None:
        self.steps = steps

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return type(self).__qualname__, [self.steps], {}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        state.__dict__.pop("apps", None)  # drawn anew once, when a table is asked for
        for step in self.steps:
            step.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for step in self._made():
            step.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for step in reversed(self._made()):
            step.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        return f"Make {len(self._made())} tables"

    def _made(self) -> list[CreateModel]:
        return [step for step in self.steps if isinstance(step, CreateModel)]
