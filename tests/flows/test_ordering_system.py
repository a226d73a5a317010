"""An ordering system with a bad network, over real HTTP: orders and events end exactly right."""

import os
import random
import re
import subprocess
import sys
from contextlib import ExitStack
from uuid import uuid4

import pytest

from tests import servers
from tests.flows.calls import Client
from tests.flows.ordering_system import OrderingSystem, together

pytestmark = pytest.mark.servers
SEED = 20261129


@pytest.fixture(scope="module")
def shop():
    with ExitStack() as stack:
        url = stack.enter_context(servers.postgres(migrated=True, durable=False))
        found = stack.enter_context(servers.open_shop(DATABASE_URL=url))
        found.manage("load_demo", "--no-orders")
        yield found


@pytest.fixture
def ordering(shop):
    client = Client(shop.url, shop.manage("access_token", f"orders-{uuid4().hex[:6]}").strip())
    system = next(r for r in client.get("resin-systems")["items"] if r["code"] == "Q")
    recipe = next(r for r in client.get("release-recipes")["items"] if r["code"] == "WAX5")
    return OrderingSystem(client, random.Random(SEED), system["id"], recipe["id"])


def play(ordering, operations):
    n = 0
    while sum(map(len, ordering.expected.values())) < operations:
        ordering.one_story(n)
        n += 1
        if n % 5 == 0:
            ordering.follow()
    ordering.follow()
    ordering.check()
    assert ordering.lost > ordering.calls / 10
    stored = {}
    address = "tool-orders?limit=200"
    while address:
        page = ordering.client.get(address)
        for row in page["items"]:
            stored.setdefault(row["customer_reference"], []).append(row)
        address = page["next"] and page["next"].partition("/api/v1/")[2]
    for reference, kinds in ordering.expected.items():
        (row,) = stored[reference]
        cancelled = kinds[-1] == "order.cancelled"
        assert row["status"] == ("cancelled" if cancelled else "open"), reference
        assert row["held_at"] is None


def test_orders_and_events_end_exactly_right_though_every_fifth_answer_is_lost(ordering):
    play(ordering, int(os.environ.get("OPERATIONS", "60")))


def test_two_hundred_repeats_at_once_have_one_effect(ordering):
    body = {
        "tool_code": "ONCE-1",
        "route": "single",
        "customer_reference": "ONCE-1",
        "due_on": "2027-01-29",
        "pours": [
            {
                "half": "A", "system": ordering.system, "release_recipe": ordering.recipe,
                "length_mm": "200", "width_mm": "120", "depth_mm": "30", "pattern_l": "0.1",
            }
        ],
    }  # fmt: skip
    key = str(uuid4())
    answers = together(lambda: ordering.client.call("POST", "tool-orders", body, key=key), 200)
    assert len(answers) == 200
    assert {status for status, _ in answers} <= {201, 409, 503}
    assert all(answer["code"] in ("still_running", "busy") for s, answer in answers if s != 201)
    assert len({answer["id"] for status, answer in answers if status == 201}) == 1
    events = ordering.client.get("events?customer_reference=ONCE-1")["items"]
    assert [event["type"] for event in events] == ["order.taken"]


def test_each_line_of_the_guide_works(shop):
    """The commands of the README's section for other systems, as they stand there."""
    text = (servers.ROOT / "README.md").read_text(encoding="utf-8")
    section = re.search(r"### Follow it from another system\n(.*?)\n## ", text, re.DOTALL)
    assert section is not None
    lines = re.findall(r"^    (.*)$", section.group(1), re.MULTILINE)
    token = shop.manage("access_token", f"guide-{uuid4().hex[:6]}").strip()
    script = "set -e\n" + "\n".join(line for line in lines if not line.startswith("TOKEN="))
    done = subprocess.run(
        ["bash", "-c", script],
        env={**os.environ, "TOKEN": token, "SHOP": f"{shop.url}/api/v1",
             "PATH": f"{os.path.dirname(sys.executable)}:{os.environ['PATH']}"},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert '"type":"order.taken"' in done.stdout.replace(" ", "")
    assert "this message is true" in done.stdout
