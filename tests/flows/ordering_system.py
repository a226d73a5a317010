"""
A sample ordering system: it sends tool orders, changes them, and follows the feed of events.

Its network is bad: some calls never arrive, and of others the answer is lost. It then sends the
same again, with the same key, as an outside program must that does not know what happened.
"""

from __future__ import annotations

import random
import threading
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from tests.flows.calls import Client

LOST = 0.2
"""Share of calls of which the answer, or the call itself, is lost."""
MOST_TRIES = 60


@dataclass
class OrderingSystem:
    """One integration: its calls, what it believes, and what the feed told it."""

    client: Client
    dice: random.Random
    system: str
    recipe: str
    lost: int = 0
    calls: int = 0
    orders: dict[str, str] = field(default_factory=dict)
    """Id of each order by our own reference."""
    expected: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Kinds of events each order must have had, in order."""
    heard: dict[str, list[dict[str, Any]]] = field(default_factory=lambda: defaultdict(list))
    cursor: str = "0"

    def sure(self, method: str, path: str, body: Any = None) -> Any:
        """Send a call until an answer arrives; the key stays the same."""
        key = str(UUID(int=self.dice.getrandbits(128)))
        for _ in range(MOST_TRIES):
            self.calls += 1
            fate = self.dice.random()
            if fate < LOST / 2:
                self.lost += 1
                continue  # the call never arrived
            status, answer = self.client.call(method, path, body, key=key)
            if fate < LOST:
                self.lost += 1
                continue  # it arrived and was carried out, the answer is lost
            if status in (409, 503) and answer["code"] in ("still_running", "busy"):
                continue
            assert status < 400, f"{method} {path}: {status} {answer}"
            return answer
        raise AssertionError(f"{method} {path} got no answer in {MOST_TRIES} tries.")

    def place(self, reference: str) -> None:
        """Order a tool under our own reference."""
        body = {
            "tool_code": reference,
            "route": "single",
            "customer_reference": reference,
            "due_on": f"{datetime.now(UTC) + timedelta(days=30):%Y-%m-%d}",
            "pours": [
                {
                    "half": "A", "system": self.system, "release_recipe": self.recipe,
                    "length_mm": "200", "width_mm": "120", "depth_mm": "30", "pattern_l": "0.1",
                }
            ],
        }  # fmt: skip
        self.orders[reference] = self.sure("POST", "tool-orders", body)["id"]
        self.expected[reference].append("order.taken")

    def do(self, reference: str, what: str, body: dict[str, Any], kind: str) -> None:
        """Hold, release or cancel an order."""
        self.sure("POST", f"tool-orders/{self.orders[reference]}/{what}", body)
        self.expected[reference].append(kind)

    def one_story(self, number: int) -> None:
        """Place an order and do something with it."""
        reference = f"PO-{number:05d}"
        self.place(reference)
        way = self.dice.randrange(4)
        if way in (1, 3):
            self.do(reference, "holds", {"reason": "drawing changes"}, "order.held")
            self.do(reference, "releases", {}, "order.released")
        if way in (2, 3):
            self.do(reference, "cancellations", {"reason": "not wanted"}, "order.cancelled")

    def follow(self) -> None:
        """Read the feed to its end, remembering the cursor only with what was read."""
        more = True
        while more:
            answer = self.sure("GET", f"events?after={self.cursor}&limit=50")
            for event in answer["items"]:
                reference = event["data"].get("customer_reference", "")
                if reference in self.orders:
                    self.heard[reference].append(event)
            self.cursor, more = answer["cursor"], answer["more"]

    def check(self) -> None:
        """Compare what the feed told with what was done, and the orders with both."""
        told = {ref: [one["type"] for one in events] for ref, events in self.heard.items()}
        assert told == dict(self.expected)
        for reference, events in self.heard.items():
            numbers = [event["data"]["sequence"] for event in events]
            assert numbers == list(range(1, len(events) + 1)), reference
        ids = [event["id"] for events in self.heard.values() for event in events]
        assert len(ids) == len(set(ids))


def together(work: Any, many: int) -> list[Any]:
    """Do the same so many times at once; return the answers."""
    found: list[Any] = []
    threads = [threading.Thread(target=lambda: found.append(work())) for _ in range(many)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return found
