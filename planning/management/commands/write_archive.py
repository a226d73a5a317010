from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared import clock
from shared.backup import open_archive
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Write the whole shop into one open archive: a ZIP of JSON lines for each table, and the "
        "documents. It fits SQLite and PostgreSQL alike; passwords, tokens and secrets stay "
        "behind."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = open_archive.write(options["file"], clock.now())
        except ShopError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{done.path}: {done.rows:,} rows and {done.documents} documents.")
