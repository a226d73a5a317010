from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared import clock
from shared.backup import archive, daily
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Copy the whole shop, database and documents, into one file while people go on working. "
        "The file holds secrets: keep it as safe as the shop, and on another disk."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", type=Path, nargs="?", help="the new file; left out: the folder of daily copies"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        now = clock.now()
        try:
            if options["file"] is None:
                self.stdout.write(f"The shop is copied: {daily.make(now)}")
                return
            made = archive.back_up(options["file"], now)
        except ShopError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"{made.path}: {made.bytes / 1e6:.1f} MB, the database and {made.files} files, each "
            "read back and compared."
        )
        for name in made.left_out:
            self.stdout.write(f"Left out, since it was thrown away meanwhile: {name}")
