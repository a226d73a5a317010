"""
The whole road, told through HTTP alone, with a real worker.

Lots come in, a tool is ordered, the week is planned and confirmed, the sheet is read, resin and
hardener are weighed and poured, the cure completes, the reminder arrives once, the casting is
taken off, and from the tool every lot is found again. Entries are written with the time at which
they happened, two days ago, as a phone does that had no network.
"""

from __future__ import annotations

from contextlib import ExitStack
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests import servers
from tests.flows.calls import Client, until
from tests.planning.reminders.postbox import postbox

pytestmark = pytest.mark.servers
ZONE = ZoneInfo("Europe/Berlin")
"""Of the demo site."""


def today() -> date:
    return datetime.now(ZONE).date()


@pytest.fixture
def box():
    with postbox() as found:
        yield found


@pytest.fixture(params=["sqlite-and-files", "postgres-and-redis"])
def shop(request, box):
    with ExitStack() as stack:
        env = {"REMINDER_SWEEP_S": "2", "EMAIL_HOST": "127.0.0.1", "EMAIL_PORT": str(box.port)}
        if request.param == "postgres-and-redis":
            env["DATABASE_URL"] = stack.enter_context(servers.postgres(migrated=True))
            env["REDIS_URL"] = stack.enter_context(servers.redis())
        yield stack.enter_context(servers.open_shop(worker=True, **env))


def client(shop, username):
    secret = shop.manage("access_token", username).strip()
    return Client(shop.url, secret)


def one(answer, **wanted):
    found = [row for row in answer["items"] if all(row[k] == v for k, v in wanted.items())]
    assert len(found) == 1, f"{wanted}: {len(found)} of {len(answer['items'])}"
    return found[0]


def receive(buyer, code, lot, kilograms):
    material = one(buyer.get("materials?limit=200"), code=code)
    body = {
        "goods": [
            {
                "material": material["id"],
                "supplier": one(buyer.get("suppliers"), code="SUP-1")["id"],
                "lot_code": lot,
                "expires_on": (today() + timedelta(days=20)).isoformat(),
                "containers": [{"quantity": {"value": kilograms, "unit": "kg"}}],
            }
        ],
        "received_at": (datetime.now(UTC) - timedelta(days=3)).isoformat(),
    }
    key = f"receipt-of-{lot}-0001"
    buyer.post("receipts", body, key=key)
    buyer.post("receipts", body, key=key)  # the ordering system may repeat itself
    lots = buyer.get(f"lots?material={material['id']}&limit=200")
    return one(lots, code=lot)


def test_from_receipt_to_tool_record_and_back(shop, box):
    shop.manage("load_demo", "--no-orders")
    buyer, planner = client(shop, "bruno"), client(shop, "petra")
    technician, keeper = client(shop, "tess"), client(shop, "ada")

    resin = receive(buyer, "RES-Q", "STORY-R", "9.5")
    hardener = receive(buyer, "HARD-Q", "STORY-H", "1.5")

    order = planner.post("tool-orders", an_order(planner))
    batch = plan_and_confirm(planner, order)
    sheet = technician.get(f"sheets/{local_day(batch['planned_start'])}")
    row = next(row for row in sheet["batches"] if row["number"] == batch["number"])
    assert {line["lot"] for line in row["lines"]} == {"STORY-R", "STORY-H"}, "first expired first"

    poured = weigh_and_pour(technician, batch)
    cure = one(technician.get(f"cures?lift__pour={order['pours'][0]['id']}"))
    assert datetime.fromisoformat(cure["cured_due_at"]) < datetime.now(UTC)
    assert (cure["waits_for"], cure["may_demould"]) == ("cool_reading", False)

    reminder = until(lambda: told(technician, poured))
    assert reminder["failed"] == 0
    mails = until(lambda: mails_about(box, order["number"]))
    assert len(mails) == len(set(mails)), "each message went out once"

    cool = {"where": "surface", "pour": order["pours"][0]["id"], "celsius": "24.0"}
    technician.post("temperatures", {"site": "DEMO", "at": datetime.now(UTC).isoformat(), **cool})
    technician.post(
        "demouldings",
        {"pour": order["pours"][0]["id"], "verdict": "accept", "hardness_shore_d": "82.0"},
    )
    tool = keeper.get(f"tools/{order['tool']}")
    assert tool["status"] == "in_service"
    events = keeper.get(f"tool-events?tool={order['tool']}")
    cast = one(events, kind="cast")
    assert cast["facts"]["batches"] == batch["number"]

    told_of = planner.get(f"events?object=order:{order['id']}")["items"]
    assert [event["type"] for event in told_of] == [
        "order.taken", "pour.planned", "batch.poured", "casting.cured", "tool.ready",
    ]  # fmt: skip
    assert [event["data"]["sequence"] for event in told_of] == [1, 2, 3, 4, 5]

    for lot in (resin, hardener):
        movements = keeper.get(f"movements?lot={lot['id']}&kind=issue")["items"]
        assert [m["counterpart"] for m in movements] == [f"batch:{batch['id']}"]
    assert shop.manage("audit_stock", "--json")


def an_order(planner):
    system = one(planner.get("resin-systems"), code="Q")
    recipe = one(planner.get("release-recipes"), code="WAX5")
    return {
        "tool_code": "STORY-1",
        "tool_name": "Tool of the story",
        "route": "single",
        "customer": "Invented customer",
        "due_on": (today() + timedelta(days=6)).isoformat(),
        "pours": [
            {
                "half": "A",
                "system": system["id"],
                "length_mm": "200",
                "width_mm": "120",
                "depth_mm": "30",
                "pattern_l": "0.1",
                "pattern_height_mm": "15",
                "tool_side": "board",
                "release_recipe": recipe["id"],
            }
        ],
    }


def plan_and_confirm(planner, order):
    year, week, _ = today().isocalendar()
    plan = planner.post("plans", {"week": f"{year}-W{week:02d}", "seconds": "1"})
    ready = until(lambda: settled(planner, plan["id"]))
    assert ready["state"] == "ready", ready["error"]
    assert ready["violations"] == []
    assert ready["unplaced"] == []
    planner.post(f"plans/{plan['id']}/confirmations")
    batch = one(planner.get(f"batches?plan={plan['id']}"))
    assert [p["pour"] for p in batch["portions"]] == [order["pours"][0]["id"]]
    return batch


def settled(planner, plan_id):
    plan = planner.get(f"plans/{plan_id}")
    return plan if plan["state"] not in ("waiting", "solving") else None


def local_day(instant):
    return datetime.fromisoformat(instant).astimezone(ZONE).date()


def weigh_and_pour(technician, batch):
    """Two days ago, recorded now; each call is sent twice, as after a lost reply."""
    began = datetime.now(UTC) - timedelta(days=2)
    for n, line in enumerate(batch["lines"]):
        stirred = {"kind": "stirred", "line": line["id"], "at": began.isoformat()}
        technician.post(f"batches/{batch['id']}/entries", stirred)
        body = {
            "line": line["id"],
            "weighed_kg": line["target_kg"],
            "at": began.isoformat(),
            "container_code": line["container_code"],
        }
        key = f"story-weighing-{n:04d}"
        first = technician.post(f"batches/{batch['id']}/weighings", body, key=key)
        assert technician.post(f"batches/{batch['id']}/weighings", body, key=key) == first
    assert first["ready"] is True
    for portion in batch["portions"]:
        for step in technician.get(f"steps?pour={portion['pour']}&phase=before")["items"]:
            technician.post(f"steps/{step['id']}/signatures", {"at": began.isoformat()})
    for minutes, kind in ((10, "contact"), (25, "poured")):
        at = (began + timedelta(minutes=minutes)).isoformat()
        body = {"kind": kind, "at": at}
        for _ in range(2):
            technician.post(f"batches/{batch['id']}/entries", body, key=f"story-entry-{kind}-1")
    now = technician.get(f"batches/{batch['id']}")
    assert now["status"] == "poured"
    return now


def told(technician, batch):
    rows = technician.get("reminders?kind=cure_complete&state=told")["items"]
    return rows[0] if rows and rows[0]["sent"] else None


def mails_about(box, number):
    """Message ids of the mails about an order's cure."""
    return [one.id for one in box.letters if number in one.text]
