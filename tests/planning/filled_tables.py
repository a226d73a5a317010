"""Fill the tables with two confirmed weeks as they were, migrate, print what became of them."""

import json
import os
import sys
from datetime import UTC, datetime

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.dev")
django.setup()

from django.db import connection  # noqa: E402

from tests.old_tables import migrate, upgrade  # noqa: E402

BEFORE = [("planning", "0016_printed_steps_and_ovens"), ("shop", "0009_retested_by")]
SECRET = "whsec_written_in_the_open"
AT = datetime(2026, 11, 30, 9, tzinfo=UTC)


def fill(apps):
    """Enter two weeks that were both confirmed, each with a batch, and a plan that was ready."""
    get = apps.get_model
    site = get("shared", "Site").objects.create(code="M", name="Main", time_zone="UTC")
    make = get("shop", "Material").objects.create
    resin = make(code="R", name="Resin", kind="resin", unit="kg")
    hardener = make(code="H", name="Hardener", kind="hardener", unit="kg")
    system = get("shop", "ResinSystem").objects.create(
        code="S", name="System", resin=resin, hardener=hardener,
        hardener_per_100=30, mixed_density_kg_l="1.1", pot_life_min=30, deepest_lift_mm=50,
        demould_min=1440,
    )  # fmt: skip
    fill_steps(get, site, make, {"resin": resin, "system": system})
    get("planning", "ReminderSettings").objects.create(
        user=get("shared", "User").objects.create(username="u"),
        webhook_url="https://hooks.example/", webhook_secret=SECRET,
    )  # fmt: skip
    for n, week in enumerate(("2026-W49", "2026-W50")):
        work = {"start_min": 60 + 10080 * n, "end_min": 120 + 10080 * n}
        plan = get("planning", "WeekPlan").objects.create(
            site=site, week=week, state="confirmed", asked_at=AT,
            confirmed_at=AT.replace(hour=10 + n),
            problem={"origin": "2026-11-30T00:00:00+00:00"}, plan={"batches": [work], "tasks": []},
        )  # fmt: skip
        begin = AT.replace(day=30)
        get("planning", "Batch").objects.create(
            site=site, number=f"B26-0000{n + 1}", plan=plan, system=system,
            status=("weighing", "planned")[n], mixed_kg=1, pot_life_min=30,
            planned_start=begin, planned_contact=begin, planned_pour_start=begin,
            planned_pour_end=begin, planned_end=begin,
        )  # fmt: skip
    get("planning", "WeekPlan").objects.create(
        site=site, week="2026-W49", revision=2, state="ready", asked_at=AT
    )


STEP = {"phase": "before", "name": "Coat", "hands_min": 5}
TWICE = [{"material": "WAX", "quantity": "0.25", "per": "tool"}] * 2
BY_AREA = {"material": "wax", "quantity": "0.1", "per": "m2"}
GONE = {"material": "OLD-WAX", "quantity": "3", "per": "tool"}


def fill_steps(get, site, make, known):
    """Enter steps that name what they use up as text: twice, by area, by a code that is gone."""
    make(code="WAX", name="Wax", kind="release_agent", unit="L")
    route = get("planning", "Route").objects.create(code="r", name="Usual", kind="single")
    steps = get("planning", "RouteStep").objects
    steps.create(route=route, order=10, materials=[BY_AREA, *TWICE, GONE], source="own", **STEP)
    steps.create(route=route, order=20, **STEP)
    tool = get("shop", "Tool").objects.create(site=site, code="T", name="Tool")
    order = get("planning", "ToolOrder").objects.create(
        site=site, number="T26-0001", tool=tool, route=route, due_on=AT.date(), created_at=AT
    )
    pour = get("planning", "Pour").objects.create(
        order=order, system=known["system"], depth_mm=50, volume_l=1, mass_kg=1,
        release_area_m2="2.5", due_on=AT.date(),
    )  # fmt: skip
    steps = get("planning", "PourStep").objects
    steps.create(pour=pour, order=10, materials=TWICE, done_at=AT, **STEP)
    steps.create(pour=pour, order=20, materials=[BY_AREA], **STEP)
    steps.create(pour=pour, order=30, materials=[GONE, "tape"], remark="Mind the rim.", **STEP)


def uses(step):
    """Return what a step uses up as words."""
    return [
        f"{row.quantity} {row.material.code} {getattr(row, 'per', 'in all')}"
        for row in step.materials.order_by("pk")
    ]


def text_again():
    """Go back to where steps named what they use as text, and return that text."""
    apps = migrate([("planning", "0034_replacement_decisions")])
    steps = apps.get_model("planning", "PourStep").objects.order_by("order")
    return [step.materials for step in steps]


def secret():
    """Return how a person's webhook secret lies in the table, and what the product reads."""
    from planning.models import ReminderSettings

    with connection.cursor() as cursor:
        cursor.execute("SELECT webhook_secret FROM planning_remindersettings")
        (lies,) = cursor.fetchone()
    return [lies, ReminderSettings.objects.get().webhook_secret]


def main():
    fill(migrate(BEFORE))
    upgrade()
    from planning.models import Batch, PourStep, RouteStep, WeekPlan

    plans = WeekPlan.objects.order_by("pk")
    sys.stdout.write(
        json.dumps(
            {
                "route_steps": [[*uses(s), s.source] for s in RouteStep.objects.order_by("order")],
                "pour_steps": [[*uses(s), s.remark] for s in PourStep.objects.order_by("order")],
                "secret": secret(),
                "text_again": text_again(),
                "secret_again": secret(),
                "plans": [[p.week, p.state, str(p.first_day), str(p.last_day)] for p in plans],
                "batches": list(
                    Batch.objects.order_by("pk").values_list("number", "status", "plan_id")
                ),
            }
        )
    )


if __name__ == "__main__":
    main()
