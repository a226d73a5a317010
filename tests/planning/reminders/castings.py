"""A small shop with castings at every stage; a test names only what matters to it."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import count

from planning.batches.models import Lift
from planning.clocks.models import Cure
from planning.pours.models import Pour, PourStep, ToolOrder
from planning.reminders.models import Reminder
from planning.routes.models import Route
from tests.factories.shop import make_person, make_site, make_system, make_tool, make_user

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)

_number = count(1)


def make_shop(**site):
    """Return a site where a technician with an e-mail address and a planner work all week."""
    site = make_site(**site)
    hours = [(day, time(7), time(16)) for day in range(1, 8)]
    make_person(site, hours=hours)
    make_user(site, "technician", email="technician@example.org")
    make_user(site, "planner", email="planner@example.org")
    return site


def make_order(site, **values):
    n = next(_number)
    route, _ = Route.objects.get_or_create(
        code="single", defaults={"name": "Single-sided", "kind": "single"}
    )
    usual = {
        "number": f"O{n}",
        "route": route,
        "due_on": date(2026, 12, 20),
        "created_at": NOW,
    }
    if "tool" not in values:
        usual["tool"] = make_tool(site)
    return ToolOrder.objects.create(site=site, **usual | values)


def make_pour(site, *, order=None, system=None, **values):
    usual = {
        "half": "A",
        "depth_mm": Decimal(40),
        "volume_l": Decimal(6),
        "mass_kg": Decimal(10),
        "due_on": date(2026, 12, 20),
        "status": "curing",
    }
    order = order or make_order(site)
    return Pour.objects.create(order=order, system=system or make_system(), **usual | values)


def make_lift(pour, number=1, at=NOW):
    return Lift.objects.create(
        pour=pour,
        number=number,
        depth_mm=40,
        mass_kg=10,
        planned_start=at,
        planned_end=at + timedelta(minutes=10),
    )


def make_cure(pour, *, number=1, poured_at=NOW - 24 * HOUR, **values):
    """Return the clock of a lift poured yesterday at nine that may be demoulded now."""
    usual = {
        "peak_due_at": poured_at + HOUR,
        "next_opens_at": poured_at + 2 * HOUR,
        "next_closes_at": poured_at + 10 * HOUR,
        "demould_due_at": poured_at + 24 * HOUR,
        "basis": "data sheet times",
        "looked_at": poured_at + 1000 * HOUR,  # so that no round works it out again
    }
    usual["attend_until"] = values.get("peak_due_at", usual["peak_due_at"])
    lift = make_lift(pour, number, poured_at)
    return Cure.objects.create(lift=lift, poured_at=poured_at, **usual | values)


def make_coat(pour, order=1, done_at=NOW - HOUR, **values):
    usual = {
        "phase": "before",
        "name": "Release coat",
        "hands_min": 10,
        "wait_min": 60,
        "coat_number": order,
    }
    return PourStep.objects.create(pour=pour, order=order, done_at=done_at, **usual | values)


def the_reminder(kind):
    return Reminder.objects.get(kind=kind)
