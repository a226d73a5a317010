from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from planning.schedule.broken import plan_now
from shared import clock
from shared.access.models import Site
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
        wrong = self.stock()
        self.plans()
        self.stdout.write(
            "Reminders that fell due since then leave when the shop opens; to look at them first, "
            "open it with REMINDERS_PAUSED=1."
        )
        if wrong:
            raise SystemExit(1)

    def stock(self) -> int:
        """Compare stock with the ledger; return the status to end with."""
        try:
            call_command("audit_stock", stdout=self.stdout)
        except SystemExit as end:
            return int(end.code or 0)
        return 0

    def plans(self) -> None:
        for site in Site.objects.order_by("code"):
            judged = plan_now(site, clock.now())
            if judged.plan is None:
                self.stdout.write(f"{site.name}: no plan is confirmed.")
            elif judged.broken:
                self.stdout.write(f"{site.name}: the confirmed plan no longer holds:")
                for one in judged.broken:
                    self.stdout.write(f"  {one.words}")
            else:
                self.stdout.write(f"{site.name}: the confirmed plan holds.")
