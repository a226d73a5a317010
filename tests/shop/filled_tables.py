"""Fill the tables as they were before some migrations, migrate, and print what became of them."""

import json
import os
import sys
from datetime import UTC, datetime

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.dev")
django.setup()

from django.db import connection  # noqa: E402
from django.db.utils import DatabaseError  # noqa: E402

from tests.old_tables import migrate, upgrade  # noqa: E402

BEFORE = [("shop", "0009_retested_by")]
AT = datetime(2026, 11, 1, 9, tzinfo=UTC)
USES = ("batch:1", "Pot 7, the blue one", "coat:9", "waste of batch 3")


def fill(apps):
    """Enter a lot with a can, issues named freely, and one of them undone."""
    get = apps.get_model
    site = get("shared", "Site").objects.create(code="M", name="Main", time_zone="UTC")
    material = get("shop", "Material").objects.create(
        code="R", name="Resin", kind="resin", unit="kg"
    )
    lot = get("shop", "Lot").objects.create(
        site=site, material=material, code="L1", received_on=AT.date(), status="released"
    )
    twin = get("shop", "Lot").objects.create(
        site=site, material=material, code="l1", received_on=AT.date(), status="held",
        status_reason="cracks", expires_on=AT.date(), unit_cost=3,
    )  # fmt: skip
    get("shop", "Container").objects.create(lot=twin, code="C2", balance=0, reserved=0)
    can = get("shop", "Container").objects.create(lot=lot, code="C1", balance=21, reserved=0)
    about = {"site": site, "container": can, "happened_at": AT, "recorded_at": AT}
    moves = get("shop", "Movement").objects
    moves.create(key="in", kind="receipt", quantity=24, counterpart="supplier:unknown", **about)
    for n, use in enumerate(USES):
        row = moves.create(key=f"i{n}", kind="issue", quantity=-1, counterpart=use, **about)
    moves.create(
        key="r", kind="reversal", quantity=1, counterpart=row.counterpart, reverses=row, **about
    )


def main():
    fill(migrate(BEFORE))
    upgrade()
    from shop.ledger.audit import differences
    from shop.models import Lot, Movement

    rows = Movement.objects.order_by("pk")
    refused = []
    for verb in ("UPDATE shop_movement SET reason = 'x'", "DELETE FROM shop_movement"):
        try:
            connection.cursor().execute(verb)
        except DatabaseError as error:
            refused.append("append-only" in str(error))
    sys.stdout.write(
        json.dumps(
            {
                "uses": [row.counterpart for row in rows],
                "differences": [one.words for one in differences()],
                "refused": refused,
                "lots": [
                    [lot.code, lot.status, str(lot.expires_on), lot.containers.count()]
                    for lot in Lot.objects.all()
                ],
            }
        )
    )


if __name__ == "__main__":
    main()
