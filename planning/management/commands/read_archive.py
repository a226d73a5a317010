from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from planning.management.judging import judge_plans, stock_agrees
from planning.management.passwords import PASSWORD, asked_password
from shared.backup import open_archive
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Read the open archive of a shop into an empty installation, on either kind of database, "
        "then compare stock with the ledger and judge each site's confirmed plan. The password "
        f"of --admin is read from {PASSWORD}, or asked for."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="a file that write_archive made")
        parser.add_argument(
            "--admin", required=True, help="sign-in name of an administrator in it"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        try:
            done = open_archive.read(
                options["file"], admin=options["admin"], password=asked_password()
            )
        except ShopError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"The shop of {done.made_at} is read in: {done.rows:,} rows and {done.documents} "
            "documents."
        )
        self.stdout.write(
            "Give the others new passwords, other systems new tokens, webhooks and the mail "
            "server their secrets."
        )
        agrees = stock_agrees(self.stdout)
        judge_plans(self.stdout)
        if not agrees:
            raise SystemExit(1)
