from __future__ import annotations

from argparse import ArgumentParser
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from planning.founding import actions
from planning.management.passwords import PASSWORD, asked_password
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Found the shop in an empty installation: its site, its first administrator and the usual "
        f"routes. The password is read from {PASSWORD}, or asked for."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", required=True, help="name of the shop")
        parser.add_argument("--admin", required=True, help="name the administrator signs in with")
        parser.add_argument("--code", default="", help="short name (made from the name)")
        parser.add_argument("--time-zone", default="UTC", help="IANA name, such as Europe/Berlin")
        parser.add_argument("--expected-c", default="20", help="usual shop temperature, °C (20)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            expected = Decimal(options["expected_c"])
        except InvalidOperation:
            raise CommandError(
                f"--expected-c is {options['expected_c']!r}; give a number of °C such as 20."
            ) from None
        try:
            site, administrator = actions.found(
                name=options["name"],
                code=options["code"],
                time_zone=options["time_zone"],
                expected_c=expected,
                username=options["admin"],
                password=asked_password(),
            )
        except ShopError as error:
            told = [problem.detail for problem in getattr(error, "problems", ())]
            raise CommandError(" ".join(told) or error.message) from error
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(
            f"{site.name} ({site.code}) is founded; {administrator.username} administers it."
        )
