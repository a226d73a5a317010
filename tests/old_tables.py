"""Tables as an earlier version left them, for tests of what an upgrade does to filled ones."""

from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import StateApps


def migrate(targets: list[tuple[str, str]]) -> StateApps:
    """Bring the tables to these migrations, step by step, and return the models as of then."""
    executor = MigrationExecutor(connection)
    executor.loader = MigrationLoader(connection, replace_migrations=False)
    executor.migrate(targets)
    return executor.loader.project_state(targets).apps


def upgrade() -> None:
    """Bring the tables up to date as a shop does."""
    call_command("migrate", verbosity=0)
