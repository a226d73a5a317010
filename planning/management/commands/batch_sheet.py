from __future__ import annotations

import json
from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.core.serializers.json import DjangoJSONEncoder

from planning.batch_sheets import queries
from planning.management.sites import add_site, chosen_site
from shared import clock


def day(text: str) -> date:
    """Read a day, or say how it is written."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(
            f"day is {text!r}; give a date that exists, such as 2026-11-30."
        ) from None


class Command(BaseCommand):
    help = "Show, print to PDF or export a day's batch sheet: batch_sheet 2026-11-30 --pdf a.pdf"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("day", type=day)
        add_site(parser)
        parser.add_argument("--pdf", type=Path, metavar="FILE")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        site = chosen_site(options["site"])
        sheet = queries.sheet(site=site, day=options["day"], now=clock.now())
        if options["pdf"]:
            from planning.batch_sheets.pdf import sheet_pdf

            options["pdf"].write_bytes(sheet_pdf(sheet))
        if options["json"]:
            self.stdout.write(
                json.dumps(sheet, cls=DjangoJSONEncoder, indent=1, ensure_ascii=False)
            )
            return
        for batch in sheet["batches"]:
            start = clock.local(batch["start_at"], site)
            into = ", ".join(f"{p['pour']} lift {p['lift']}" for p in batch["portions"])
            self.stdout.write(
                f"{start:%H:%M}  {batch['number']}  {batch['mixed_kg']:.3f} kg {batch['system']}"
                f"  into {into}"
            )
        totals = sheet["totals"]
        self.stdout.write(
            f"{len(sheet['batches'])} batches: {totals['mixed_kg']:.3f} kg mixed = "
            f"{totals['poured_kg']:.3f} kg poured + {totals['loss_kg']:.3f} kg left in pots."
        )
