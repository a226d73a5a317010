"""Fill a database with coats that dry one after another; run as a program."""

import sys
from datetime import datetime, time, timedelta

import django

PER_ORDER = 6


def seed(first_due: datetime, count: int, within_s: float, quiet_until: time) -> None:
    """Let `count` coats dry from `first_due` on; a planner with quiet hours wants to know too."""
    from planning.pours.models import Pour, PourStep, ToolOrder
    from planning.reminders.actions import choose_channels, set_quiet_hours
    from planning.routes.models import Route
    from shared.access.models import Membership, Site, User
    from shop.materials.models import ResinSystem
    from tests.factories.shop import make_system, make_tool

    site = Site.objects.create(
        code=f"night-{first_due:%m}", name="Night shop", time_zone="Europe/Berlin"
    )
    for role in ("technician", "planner"):
        user = User.objects.create_user(f"{role}{first_due:%m}", f"{role}@example.org")
        Membership.objects.create(user=user, site=site, role=role)
        channels = ["email", "today"] if role == "technician" else ["email"]
        choose_channels(user=user, site=site, kind="coats_dry", channels=channels)
    set_quiet_hours(user=user, quiet_from=time(20), quiet_until=quiet_until)
    route, _ = Route.objects.get_or_create(code="r", defaults={"name": "r", "kind": "single"})
    tool, system = make_tool(site), ResinSystem.objects.first() or make_system()
    due_on = (first_due + timedelta(days=300)).date()
    same = {"site": site, "tool": tool, "route": route, "due_on": due_on, "created_at": first_due}
    orders = ToolOrder.objects.bulk_create(
        ToolOrder(number=f"N{n}", **same) for n in range(-(-count // PER_ORDER))
    )
    size = {"depth_mm": 40, "volume_l": 6, "mass_kg": 10, "due_on": due_on}
    pours = Pour.objects.bulk_create(
        Pour(order=order, half=half, system=system, status="planned", **size)
        for order in orders
        for half in "AB"
    )
    places = [(pour, phase) for pour in pours for phase in ("before", "between", "after")]
    PourStep.objects.bulk_create(
        PourStep(
            pour=pour,
            phase=phase,
            order=1,
            name=f"Coat {n}",
            hands_min=5,
            wait_min=60,
            coat_number=1,
            done_at=first_due + timedelta(seconds=n * within_s / count) - timedelta(minutes=60),
        )
        for n, (pour, phase) in zip(range(count), places, strict=False)
    )


if __name__ == "__main__":
    django.setup()
    first, amount, seconds, until = sys.argv[1:]
    seed(datetime.fromisoformat(first), int(amount), float(seconds), time.fromisoformat(until))
