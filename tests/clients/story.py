"""Both stories of an ordering system, told with the generated client and checked by mypy."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar
from uuid import uuid4

from shop_client.api.events import events_list
from shop_client.api.materials import release_recipes_list, resin_systems_list
from shop_client.api.purchases import (
    purchase_orders_placements_create,
    purchase_orders_receipts_create,
    purchase_proposals_approvals_create,
    purchase_proposals_create,
)
from shop_client.api.tool_orders import (
    tool_orders_bulk_create,
    tool_orders_cancellations_create,
    tool_orders_create,
    tool_orders_partial_update,
    tool_orders_retrieve,
)
from shop_client.client import AuthenticatedClient
from shop_client.models import (
    AskedPourRequest,
    AskedPourRequestHalf,
    Event,
    MayGiveReasonRequest,
    NewToolOrderBulkRequest,
    NewToolOrderRequest,
    Order,
    OrderedContainerRequest,
    OrderedLineRequest,
    OrderReceiptRequest,
    PatchedChangedToolOrderRequest,
    PlacementRequest,
    Problem,
    Proposal,
    RunRequest,
    ToolOrder,
)

T = TypeVar("T")


def today() -> date:
    return datetime.now(UTC).date()


def good(answer: T | Problem | None) -> T:
    """Return what was answered; fail with the problem."""
    if answer is None or isinstance(answer, Problem):
        raise AssertionError(f"Refused: {answer}")
    return answer


def once(call: Callable[..., T | Problem | None], *where: str, **said: Any) -> T:
    """Make a call under a key of its own, twice, as after a lost answer; both say the same."""
    key = str(uuid4())
    first = good(call(*where, **said, idempotency_key=key))
    assert good(call(*where, **said, idempotency_key=key)) == first
    return first


class Orders:
    """Places tool orders and follows them."""

    def __init__(self, client: AuthenticatedClient) -> None:
        self.client = client
        systems = good(resin_systems_list.sync(client=client)).items
        recipes = good(release_recipes_list.sync(client=client)).items
        self.system = next(row.id for row in systems if row.code == "Q")
        self.recipe = next(row.id for row in recipes if row.code == "WAX5")

    def wish(self, reference: str, days: int) -> NewToolOrderRequest:
        pour = AskedPourRequest(
            half=AskedPourRequestHalf.A, system=self.system, release_recipe=self.recipe,
            length_mm="200", width_mm="120", depth_mm="30",
            pattern_l="0.1", pattern_height_mm="15", may_share=False,
        )  # fmt: skip
        return NewToolOrderRequest(
            tool_code=reference, route="single", customer_reference=reference, pours=[pour],
            due_on=today() + timedelta(days=days), customer="Invented customer",
        )  # fmt: skip

    def place(self, reference: str) -> ToolOrder:
        call = tool_orders_create.sync
        return once(call, client=self.client, body=self.wish(reference, 6))

    def place_many(self, *references: str) -> list[ToolOrder]:
        body = NewToolOrderBulkRequest([self.wish(one, 30) for one in references])
        return once(tool_orders_bulk_create.sync, client=self.client, body=body).items

    def move(self, order: ToolOrder, due_on: date) -> ToolOrder:
        read = good(tool_orders_retrieve.sync(order.id, client=self.client))
        changed = tool_orders_partial_update.sync(
            order.id, client=self.client, if_match=read.etag,
            body=PatchedChangedToolOrderRequest(due_on=due_on),
        )  # fmt: skip
        return good(changed)

    def cancel(self, order: ToolOrder, reason: str) -> ToolOrder:
        call = tool_orders_cancellations_create.sync
        body = MayGiveReasonRequest(reason=reason)
        return once(call, order.id, client=self.client, body=body)

    def heard(self, reference: str) -> list[Event]:
        said = events_list.sync(client=self.client, customer_reference=reference)
        return good(said).items


class Buying:
    """Has purchases proposed, agrees to one, orders it and takes the goods in."""

    def __init__(self, client: AuthenticatedClient) -> None:
        self.client = client

    def proposals(self) -> list[Proposal]:
        return once(purchase_proposals_create.sync, client=self.client, body=RunRequest()).items

    def buy(self, proposal: Proposal) -> Order:
        order = once(purchase_proposals_approvals_create.sync, proposal.id, client=self.client)
        call = purchase_orders_placements_create.sync
        return once(call, order.id, client=self.client, body=PlacementRequest(below_least=True))

    def receive(self, order: Order, lot: str) -> Order:
        goods = [
            OrderedLineRequest(
                line=line.id, lot_code=f"{lot}-{n}",
                expires_on=today() + timedelta(days=200),
                containers=[OrderedContainerRequest(line.content) for _ in range(line.packs)],
            )
            for n, line in enumerate(order.lines)
        ]  # fmt: skip
        body = OrderReceiptRequest(goods)
        return once(purchase_orders_receipts_create.sync, order.id, client=self.client, body=body)
