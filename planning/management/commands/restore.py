from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from planning.management.judging import judge_plans, stock_agrees
from shared import clock
from shared.backup import restoring
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Put a copy of a shop back, then compare stock with the ledger and judge each site's "
        "confirmed plan. A shop that is there is refused, or kept aside with --replace."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="a file that back_up made")
        parser.add_argument(
            "--replace", action="store_true", help="put the shop that is there aside"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = restoring.restore(options["file"], clock.now(), replace=options["replace"])
        except ShopError as error:
            raise CommandError(error.message) from error
        call_command("migrate", interactive=False, verbosity=0)
        self.stdout.write(f"The shop of {done.manifest.made_at} is back.")
        if done.kept is not None:
            self.stdout.write(f"What was there before is kept in {done.kept}.")
        agrees = stock_agrees(self.stdout)
        judge_plans(self.stdout)
        self.stdout.write(
            "Reminders that fell due since then leave when the shop opens; to look at them first, "
            "open it with REMINDERS_PAUSED=1."
        )
        if not agrees:
            raise SystemExit(1)
