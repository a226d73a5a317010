"""Enter events of an order as they were kept before, migrate, print what became of them."""

import json
import os
import sys
from datetime import UTC, date, datetime

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.dev")
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection, transaction  # noqa: E402

from tests.old_tables import migrate  # noqa: E402

BEFORE = [("planning", "0034_replacement_decisions"), ("shop", "0025_lot_codes_in_characters")]
AT = datetime(2026, 11, 30, 9, tzinfo=UTC)
KINDS = ("order_taken", "order_changed", "date_moved")


def fill(apps):
    get = apps.get_model
    site = get("shared", "Site").objects.create(code="M", name="Main", time_zone="UTC")
    tool = get("shop", "Tool").objects.create(site=site, code="T", name="Tool")
    route = get("planning", "Route").objects.create(code="R", name="Route", kind="single")
    order = get("planning", "ToolOrder").objects.create(
        site=site, number="T-1", tool=tool, route=route, due_on=date(2026, 12, 4),
        priority=1, customer_reference="P-1", created_at=AT,
    )  # fmt: skip
    for n, kind in enumerate(KINDS, start=1):
        get("planning", "OrderEvent").objects.create(
            site=site, order=order, sequence=n, kind=kind, at=AT, reason="why",
            payload={"version": 1, "kind": kind, "at": "2026-11-30T09:00:00Z", "new": {"n": n}},
        )  # fmt: skip
    return order.pk


def main():
    pk = fill(migrate(BEFORE))
    call_command("migrate", verbosity=0)
    from planning.order_events.actions import add_event
    from planning.pours.models import ToolOrder
    from shared.access.models import Site
    from shared.events import placing, queries
    from shared.events.kinds import EventKind
    from shared.events.models import Event

    kept = list(Event.objects.order_by("pk"))
    with transaction.atomic():
        order = ToolOrder.objects.get(pk=pk)
        following = add_event(order=order, kind=EventKind.HELD, at=AT)
    placing.place_waiting()
    page = queries.behind(after=0, site_ids=[Site.objects.get().pk], limit=50)
    report = {
        "order": str(pk),
        "kinds": [event.kind for event in kept],
        "sequences": [event.sequence for event in kept],
        "payload": kept[-1].payload,
        "next": following.sequence,
        "read": len(page.places),
        "old_table": "planning_orderevent" in connection.introspection.table_names(),
    }
    sys.stdout.write(json.dumps(report) + "\n")


if __name__ == "__main__":
    main()
