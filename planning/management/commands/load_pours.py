from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from planning.management.sites import add_site, chosen_site
from planning.pours import order_file
from shared import clock
from shared.errors import Invalid


class Command(BaseCommand):
    help = (
        "Take in tool orders and their pours from a CSV file, all rows or none. Columns: "
        + ", ".join(order_file.COLUMNS)
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        add_site(parser)
        parser.add_argument("--dry-run", action="store_true", help="check only, store nothing")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        site = chosen_site(options["site"])
        try:
            orders = order_file.load_pours(
                site_id=site.pk,
                data=options["file"].read_bytes(),
                now=clock.now(),
                dry_run=options["dry_run"],
            )
        except OSError as error:
            raise CommandError(f"{options['file']}: {error.strerror}.") from error
        except Invalid as error:
            if options["json"]:
                rows = [problem.as_dict() for problem in error.problems]
                self.stdout.write(json.dumps({"errors": rows}, indent=1, ensure_ascii=False))
            details = "\n".join(f"  {problem.detail}" for problem in error.problems)
            raise CommandError(f"{error.message}\n{details}") from error
        numbers = [order.number for order in orders]
        if options["json"]:
            self.stdout.write(json.dumps({"orders": numbers}))
        elif options["dry_run"]:
            self.stdout.write("No problem found; nothing was stored.")
        else:
            pours = sum(order.pours.count() for order in orders)
            self.stdout.write(f"{len(numbers)} orders with {pours} pours taken in.")
