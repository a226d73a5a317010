"""
Print the demo's week, planned, confirmed and planned again with a rush order, on any database.

Run as a module on migrated, empty tables; the moments are fixed, the work is counted in steps.
Problems and plans end with a form feed each.
"""

import json
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

MONDAY = datetime(2026, 11, 30, 4, 0, tzinfo=UTC)
FIXTURES = Path(__file__).parents[3] / "fixtures"


def main() -> None:
    import django

    django.setup()
    from planning.core.plain import dumps, to_plain
    from planning.core.problem import Limits
    from planning.core.week import plan_week
    from planning.demo.actions import load_orders
    from planning.routes.actions import load_routes
    from planning.rules import actions as rules
    from planning.schedule import actions, queries, snapshot
    from planning.schedule.models import WeekPlan
    from shop.demo import load_shop

    data = json.loads((FIXTURES / "demo" / "shop.json").read_text(encoding="utf-8"))
    site = load_shop(data, MONDAY, "a password for tests")
    load_routes(json.loads((FIXTURES / "reference" / "routes.json").read_text(encoding="utf-8")))
    *usual, rush = data["orders"]
    load_orders(site, usual, MONDAY)
    for now in (MONDAY, MONDAY + timedelta(hours=30)):
        wish = actions.request_plan(site=site, week="2026-W49", now=now)
        settings = rules.settings_of(rules.rules_of(site.pk))
        limits = Limits(seconds=600, work=200)
        problem = snapshot.problem_of_week(
            site=site, week=wish.week, now=now, settings=settings, limits=limits
        )
        plan = plan_week(problem)
        sys.stdout.write(f"{dumps(problem)}\f{dumps(plan)}\f")
        WeekPlan.objects.filter(pk=wish.pk).update(
            state="ready",
            problem=to_plain(problem),
            plan=to_plain(plan),
            based_on=queries.confirmed_plan(site.pk),
        )
        actions.confirm(plan=wish, now=now)
        load_orders(site, [rush], now)


if __name__ == "__main__":
    main()
