from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from planning.files import actions
from planning.management.callers import add_caller, chosen_caller
from planning.management.sites import add_site, chosen_site


class Command(BaseCommand):
    help = (
        "Write the set-up of a shop, its stock and its waiting orders into a workbook, or into a "
        ".zip of CSV files, in the form that read_workbook reads. --sample writes an invented "
        "shop."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        add_site(parser)
        add_caller(parser)
        parser.add_argument("--sample", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        site, path = chosen_site(options["site"]), options["file"]
        forms = {".xlsx": "xlsx", ".zip": "csv"}
        if path.suffix.lower() not in forms:
            raise CommandError(f"{path} must end in .xlsx, or in .zip for CSV files.")
        form = forms[path.suffix.lower()]
        if options["sample"]:
            data, _ = actions.sample_file(site=site, form=form)
        else:
            caller = chosen_caller(options["person"], site)
            data, _ = actions.shop_file(caller=caller, site=site, form=form)
        try:
            path.write_bytes(data)
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}.") from error
        self.stdout.write(f"{path} is written: {len(data):,} bytes.")
