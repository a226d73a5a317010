from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from planning.core import plain
from planning.core.plan import Plan, Problem
from planning.management.sites import add_site, chosen_site
from planning.schedule import actions
from planning.schedule.models import PlanState
from shared import clock
from shared.errors import ShopError


class Command(BaseCommand):
    help = "Plan an ISO week: python manage.py plan_week 2026-W49 --confirm"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("week", help="ISO week such as 2026-W49")
        add_site(parser)
        parser.add_argument("--seconds", type=float, default=10.0, help="how long to search")
        parser.add_argument("--confirm", action="store_true", help="confirm the plan at once")
        parser.add_argument("--export", metavar="DIR", help="write problem.json and plan.json")
        parser.add_argument("--json", action="store_true", help="print the plan as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        site = chosen_site(options["site"])
        now = clock.now()
        try:
            asked = actions.request_plan(
                site=site, week=options["week"], now=now, seconds=options["seconds"]
            )
            plan = actions.solve(plan_id=asked.pk, now=now)
        except ShopError as error:
            raise CommandError(str(error)) from error
        if options["export"]:
            self._export(Path(options["export"]), plan.problem, plan.plan)
        if plan.state != PlanState.READY:
            raise CommandError(f"Plan {plan} breaks a rule and is not usable: {plan.error}")
        if options["confirm"]:
            try:
                plan = actions.confirm(plan=plan, now=clock.now())
            except ShopError as error:
                raise CommandError(str(error)) from error
        if options["json"]:
            row = {
                "id": plan.pk,
                "week": plan.week,
                "revision": plan.revision,
                "state": plan.state,
                "violations": plan.violations,
                "plan": plan.plan,
            }
            self.stdout.write(json.dumps(row, indent=1, ensure_ascii=False))
        else:
            self.stdout.write(summary(plan))

    def _export(self, folder: Path, problem: Any, answer: Any) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        for name, kind, row in (("problem", Problem, problem), ("plan", Plan, answer)):
            text = plain.dumps(plain.from_plain(kind, row))
            (folder / f"{name}.json").write_text(text, encoding="utf-8")


def summary(plan: Any) -> str:
    """Say in a few lines what a plan achieves and what it leaves out."""
    figures = plan.plan["figures"]
    names = {pour["id"]: pour["name"] for pour in plan.problem["pours"]}
    lines = [
        f"{plan.week} revision {plan.revision}, {plan.get_state_display().lower()}: "
        f"{len(names) - figures['unplaced']} of {len(names)} pours placed, "
        f"{figures['pots']} pots (proven least {figures['pots_bound']}), lateness "
        f"{figures['lateness']} weighted min (proven least {figures['lateness_bound']}), "
        f"{figures['residue_kg']:.2f} kg left in pots, rules broken: {len(plan.violations)}."
    ]
    for row in plan.plan["unplaced"]:
        lines.append(
            f"  Not placed: {names[row['pour']]}. {row['words']} {row['change']}".rstrip()
        )
    return "\n".join(lines)
