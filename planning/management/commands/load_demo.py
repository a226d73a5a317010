from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from planning.demo import actions
from planning.routes.actions import load_routes
from planning.schedule.models import WeekPlan
from shared import clock
from shared.access.models import Site
from shared.management.commands.open_shop import EXAMPLE_MARK
from shop.demo import load_shop


class Command(BaseCommand):
    help = "Load the invented demo shop with a week of work; safe to repeat."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--password", default="demo-shop", help="of the demo's people")
        parser.add_argument(
            "--no-orders", action="store_true", help="stock, people and routes only"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        fixtures = Path(settings.ROOT) / "fixtures"
        data = json.loads((fixtures / "demo" / "shop.json").read_text(encoding="utf-8"))
        routes = json.loads((fixtures / "reference" / "routes.json").read_text(encoding="utf-8"))
        self.refuse_own_shop(data["site"]["code"])
        now = clock.now()
        site = load_shop(data, now - actions.HISTORY, options["password"])
        load_routes(routes)
        (settings.DATA / EXAMPLE_MARK).write_text(data["about"], encoding="utf-8")
        orders = [] if options["no_orders"] else data["orders"]
        taken = actions.load_orders(site, orders, now)
        if orders and not WeekPlan.objects.filter(site=site).exists():
            actions.plan_and_work(site, now)
        self.stdout.write(
            f"{site.name}: {taken} tool orders. Sign in as "
            + ", ".join(f"{user['username']} ({user['role']})" for user in data["users"])
            + f"; password {options['password']}."
        )

    def refuse_own_shop(self, code: str) -> None:
        """Never mix the invented shop with a real one."""
        if Site.objects.exists() and not Site.objects.filter(code=code).exists():
            raise CommandError(
                "This installation holds a shop of its own; the example shop is opened in another "
                "data folder: SHOP_DATA=.example-shop python manage.py open_shop"
            )
