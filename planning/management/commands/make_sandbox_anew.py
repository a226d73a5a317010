from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from planning.sandbox import actions
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Empty the sandbox and load the example shop as of now, as happens each night. Own "
        "accounts, tokens and addresses told of events stay. Refused unless SANDBOX=1 is set."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--no-orders", action="store_true", help="stock, people and routes only"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            kept = actions.make_anew(orders=not options["no_orders"])
        except ShopError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"The sandbox is made anew. {len(kept.people)} own accounts, {len(kept.tokens)} "
            f"tokens and {len(kept.endpoints)} addresses told of events stayed."
        )
