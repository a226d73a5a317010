"""
The examples of the API's description are what a test sends, and what came back.

    EXAMPLES=write pytest tests/planning/test_sent_examples.py     # after a body has changed

Ids and secrets are masked, and of each list the first row is kept; all else is as it was.
"""

from __future__ import annotations

import json
import os
import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine

from planning.demo.actions import load_orders
from planning.pours.models import Pour
from shared.api.examples import FILE, sent_examples
from shared.clock import now as clock_now
from tests.callers import Caller, caller, make_user
from tests.closed import described
from tests.factories.castings import take_off
from tests.planning.conftest import FIXTURES, MONDAY

pytestmark = pytest.mark.django_db
LINKS = {
    "id", "system", "release_recipe", "tool", "route", "line", "material", "supplier", "order",
    "location", "pour", "copy_of", "lot", "container", "endpoint", "delivery", "object",
    "hardener", "resin", "takes_back",
}  # fmt: skip
SECRETS = {
    "secret": "shown-this-once",
    "prefix": "shop_example",
    "cursor": "23",
    "next": "https://shop.example/api/v1/…?cursor=…",
}
WITHOUT_BODY, WITHOUT_ANSWER = 112, 274
"""Operations whose body or JSON answer has no example yet; these figures may only fall."""

SILENT_FIELDS = 341
"""Fields of which nothing but name and kind is told; this figure may only fall."""


def masked(value: Any, name: str = "", most: int | None = None) -> Any:
    """
    Return a body or answer with its ids, secrets and own addresses made plain examples.

    Of each list `most` rows are kept.
    """
    if isinstance(value, dict):
        return {key: masked(member, key, most) for key, member in value.items()}
    if name == "pours" and value and isinstance(value[0], str):
        return ["17" for _ in value]
    if isinstance(value, list):
        return [masked(member, name, most) for member in value[:most]]
    if not isinstance(value, str):
        return value
    if name in SECRETS:
        return SECRETS[name]
    if name == "number":
        return re.sub("^(PO|DN)-[0-9]+$", r"\1-17", value)
    if name in LINKS and re.fullmatch("[1-9][0-9]*", value):
        return "17"
    value = re.sub(r"evt_[0-9a-f]{32}|test_[0-9a-f]{32}", "evt_0a1b2c3d4e5f", value)
    value = re.sub(r'^"[0-9]+-([0-9]+)"$', r'"17-\1"', value)
    return value.replace("http://testserver", "https://shop.example")


class Playing:
    """Sends the calls of the ordering story and remembers what was sent and answered."""

    def __init__(self, client: Caller) -> None:
        self.client = client
        self.seen: dict[str, dict[str, Any]] = {}
        self.paths = described()["paths"]

    def call(
        self,
        method: str,
        template: str,
        body: Any = None,
        *,
        tag: str = "",
        query: str = "",
        **at: str,
    ):
        """Make one call; it must be answered 2xx."""
        path = f"/api/v1/{template}".format(**at)
        kwargs = {"etag": tag} if tag else {}
        answer = getattr(self.client, method)(f"{path}?{query}".rstrip("?"), body, **kwargs)
        assert answer.status_code < 300, f"{method} {path}: {answer.content!r}"
        plain = template.format(**dict.fromkeys(at, "{id}"))
        operation = self.paths[f"/api/v1/{plain}"][method]["operationId"]
        told = self.seen.setdefault(operation, {})
        if body:
            told["body"] = masked(json.loads(json.dumps(body)))
        told["answer"] = {str(answer.status_code): masked(answer.json(), most=1)}
        return answer.json()


def an_order(client: Playing, reference: str) -> dict[str, Any]:
    systems = client.call("get", "resin-systems")["items"]
    recipes = client.call("get", "release-recipes")["items"]
    return {
        "tool_code": reference,
        "tool_name": "Cover, lower half",
        "route": "single",
        "customer": "Invented customer",
        "customer_reference": reference,
        "due_on": "2027-01-29",
        "pours": [
            {
                "half": "A",
                "system": next(row["id"] for row in systems if row["code"] == "Q"),
                "release_recipe": next(row["id"] for row in recipes if row["code"] == "WAX5"),
                "length_mm": "200.0",
                "width_mm": "120.0",
                "depth_mm": "30.0",
                "pattern_l": "0.1000",
                "pattern_height_mm": "15.0",
            }
        ],
    }


def order(play: Playing) -> None:
    """Place, change, hold, release, follow and cancel orders."""
    wish = an_order(play, "PO-4711")
    row = play.call("post", "tool-orders", wish)
    more = [{**wish, "tool_code": code, "customer_reference": code} for code in ("P-2", "P-3")]
    play.call("post", "tool-orders/bulk", {"items": more})
    at = {"pk": row["id"]}
    later = {"due_on": "2027-02-05", "priority": 2}
    play.call("patch", "tool-orders/{pk}", later, tag=row["etag"], **at)
    play.call("post", "tool-orders/{pk}/holds", {"reason": "drawing changes"}, **at)
    play.call("post", "tool-orders/{pk}/releases", {"reason": "drawing is there"}, **at)
    play.call("post", "tool-orders/{pk}/quantities", {"quantity": 2}, **at)
    play.call("post", "tool-orders/{pk}/cancellations", {"reason": "not wanted"}, **at)
    play.call("get", "tool-orders/{pk}", **at)
    play.call("get", "tool-orders")
    play.call("get", "pours")
    play.call("get", "events", query="customer_reference=PO-4711")


def deliver(play: Playing) -> None:
    """Send a casting that stands ready, and take the delivery back."""
    pour = Pour.objects.get(order__number=an_order_of(play, "P-2"))
    take_off(pour, clock_now())
    wish = {
        "pours": [str(pour.pk)],
        "address": "Invented customer\nDock 3",
        "carrier": "Own van",
        "packages": 1,
        "client_reference": "ASN-17",
    }
    at = {"pk": play.call("post", "delivery-notes", wish)["id"]}
    play.call("get", "delivery-notes/{pk}", **at)
    play.call("get", "delivery-notes")
    play.call("post", "delivery-notes/{pk}/returns", {"reason": "crate was damaged"}, **at)


def an_order_of(play: Playing, reference: str) -> str:
    """Return the shop's number of an order by the ordering system's own name."""
    rows = play.client.get("/api/v1/tool-orders").json()["items"]
    return next(row["number"] for row in rows if row["customer_reference"] == reference)


def buy(play: Playing) -> None:
    """Have purchases proposed, agree, order, confirm, and take goods in."""
    rows = play.call("post", "purchase-proposals", {"days": 60})["items"]
    play.call("get", "purchase-proposals")
    play.call("get", "purchase-proposals/{pk}", pk=rows[0]["id"])
    play.call(
        "post", "purchase-proposals/{pk}/refusals", {"reason": "bought by hand"}, pk=rows[-1]["id"]
    )
    placed = play.call("post", "purchase-proposals/{pk}/approvals", {}, pk=rows[0]["id"])
    at = {"pk": placed["id"]}
    play.call("post", "purchase-orders/{pk}/placements", {"below_least": True}, **at)
    line = placed["lines"][0]
    said = {"line": line["id"], "packs": line["packs"], "due_on": line["due_on"]}
    play.call(
        "post", "purchase-orders/{pk}/confirmations", {"reference": "C-1", "lines": [said]}, **at
    )
    coming = {"line": line["id"], "due_on": line["due_on"]}
    body = {"reference": "DN-90017", "lines": [coming]}
    play.call("post", "purchase-orders/{pk}/announcements", body, **at)
    goods = {
        "line": line["id"],
        "lot_code": "LOT-7A",
        "expires_on": "2027-05-01",
        "containers": [{"quantity": line["content"]}],
    }
    play.call("post", "purchase-orders/{pk}/receipts", {"goods": [goods]}, **at)
    play.call("post", "purchase-orders/{pk}/closings", {"reason": "no more comes"}, **at)
    play.call("get", "purchase-orders/{pk}", **at)
    play.call("get", "purchase-orders", query="sort=-id")
    loose = {
        "material": line["material"],
        "lot_code": "LOT-8B",
        "expires_on": "2027-05-01",
        "containers": [{"quantity": {"value": "5.0000", "unit": line["unit"]}}],
    }
    play.call("post", "receipts", {"goods": [loose]})


def hear(play: Playing) -> None:
    """Have events posted, pause, go on, and give a new secret."""
    wish = {"name": "orders", "url": "https://hooks.example/events", "kinds": ["tool.ready"]}
    row = play.call("post", "webhook-endpoints", wish)
    at = {"pk": row["id"]}
    play.call("post", "webhook-endpoints/{pk}/pauses", {"reason": "receiver is moved"}, **at)
    play.call("post", "webhook-endpoints/{pk}/resumptions", {}, **at)
    play.call("post", "webhook-endpoints/{pk}/secrets", {}, **at)
    since = {"since": "2026-11-29T00:00:00Z"}
    play.call("post", "webhook-endpoints/{pk}/replays", since, **at)
    play.call("get", "webhook-endpoints/{pk}", **at)
    play.call("get", "webhook-endpoints")
    play.call("get", "webhook-deliveries")


def hold_tokens(play: Playing, site: str) -> None:
    """Make a token, make it narrower, give it a new secret, take it back."""
    wish = {"name": "orders", "scopes": ["events:read", "tool_orders:read"], "sites": [site]}
    row = play.call("post", "access-tokens", wish)
    at = {"pk": row["id"]}
    less = {"scopes": ["events:read"]}
    play.call("patch", "access-tokens/{pk}", less, tag=row["etag"], **at)
    play.call("post", "access-tokens/{pk}/rotations", {"overlap_h": 24}, **at)
    play.call("post", "access-tokens/{pk}/revocations", {}, **at)
    play.call("get", "access-tokens/{pk}", **at)
    play.call("get", "access-tokens")


@pytest.fixture
def played(shop_site):
    with time_machine.travel(MONDAY + timedelta(hours=4), tick=False):
        data = json.loads((FIXTURES / "demo" / "shop.json").read_text(encoding="utf-8"))
        load_orders(shop_site, data["orders"], clock_now())
        user = make_user("administrator", shop_site, "example")
        play = Playing(caller(user, [shop_site]))
        order(play)
        deliver(play)
        buy(play)
        hear(play)
        hold_tokens(play, shop_site.code)
        return play.seen


def test_each_example_is_what_was_sent_and_answered(played):
    if os.environ.get("EXAMPLES") == "write":
        words = json.dumps(played, indent=1, sort_keys=True, ensure_ascii=False)
        FILE.write_text(words + "\n", encoding="utf-8")
    assert played == sent_examples()


def test_the_operations_without_an_example_only_become_fewer():
    bodies = answers = 0
    for operations in described()["paths"].values():
        for operation in operations.values():
            body = operation.get("requestBody", {}).get("content", {}).get("application/json")
            bodies += body is not None and "examples" not in body
            said = [a for s, a in operation["responses"].items() if s.startswith("2")]
            told = [one["content"]["application/json"] for one in said
                    if "application/json" in one.get("content", {})]  # fmt: skip
            answers += bool(told) and not any("examples" in one for one in told)
    assert bodies <= WITHOUT_BODY
    assert answers <= WITHOUT_ANSWER


def test_the_fields_without_a_description_only_become_fewer():
    schemas = described()["components"]["schemas"].values()
    fields = [one for schema in schemas for one in schema.get("properties", {}).values()]
    silent = [one for one in fields if not {"description", "$ref", "enum"} & one.keys()]
    assert len(silent) <= SILENT_FIELDS
