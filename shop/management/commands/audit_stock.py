import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from shop.ledger.audit import differences


class Command(BaseCommand):
    help = (
        "Compare balances with the ledger and reservations with what is planned. "
        "Ends with status 1 and a list if anything differs."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="Print the list as JSON.")

    def handle(self, *args: Any, **options: Any) -> None:
        found = differences()
        if options["json"]:
            self.stdout.write(json.dumps({"differences": [d.as_dict() for d in found]}, indent=2))
        elif found:
            for one in found:
                self.stdout.write(f"{one.kind}: {one.where}: {one.words}")
        else:
            self.stdout.write("Stock agrees with the ledger, and reservations with the plans.")
        if found:
            raise SystemExit(1)
