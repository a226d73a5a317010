from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from planning.files import actions
from planning.management.callers import add_caller, chosen_caller
from planning.management.sites import add_site, chosen_site
from shared.errors import Invalid


class Command(BaseCommand):
    help = (
        "Read the set-up of a shop, its stock and its orders from a workbook (.xlsx) or from CSV "
        "files: all rows or none. --try goes through everything and changes nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        add_site(parser)
        add_caller(parser)
        parser.add_argument("--try", dest="trial", action="store_true", help="change nothing")
        parser.add_argument("--sheet", default="", help="of one CSV file not named like its sheet")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        site = chosen_site(options["site"])
        try:
            done = actions.read_shop_file(
                caller=chosen_caller(options["person"], site),
                site=site,
                data=options["file"].read_bytes(),
                name=options["file"].name,
                sheet=options["sheet"],
                trial=options["trial"],
            )
        except OSError as error:
            raise CommandError(f"{options['file']}: {error.strerror}.") from error
        except Invalid as error:
            if options["json"]:
                rows = [problem.as_dict() for problem in error.problems]
                self.stdout.write(json.dumps({"errors": rows}, indent=1, ensure_ascii=False))
            details = "\n".join(f"  {problem.detail}" for problem in error.problems)
            raise CommandError(f"{error.message}\n{details}") from error
        if options["json"]:
            rows = [{"sheet": name, **vars(one)} for name, one in done.counts.items()]
            self.stdout.write(json.dumps({"trial": done.trial, "sheets": rows}))
            return
        for name, one in done.counts.items():
            told = f"{one.new} new, {one.changed} changed, {one.same} left as they are"
            self.stdout.write(f"{name}: {told}")
        if done.trial:
            self.stdout.write("Tried out; nothing was changed.")
