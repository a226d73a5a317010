"""
What changed in the API: the one list that the page of changes is made from.

The newest comes first. A change of version 1 only ever adds; what is to go says so here, and in
the answers themselves (`shared/api/leaving.py`), a year before.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple


class Change(NamedTuple):
    """What changed on a day, for those who call the API."""

    on: date
    kind: str
    words: str


ADDED, TOLD, LEAVES = "added", "described", "leaves"
KINDS = {
    ADDED: "Added",
    TOLD: "Described as it is",
    LEAVES: "Will go",
}

CHANGES = (
    Change(
        date(2026, 11, 30),
        ADDED,
        "Tool orders are found by your own reference, GET /tool-orders?customer_reference=, and "
        "say by ready_at when their last casting is done, as was told last.",
    ),
    Change(
        date(2026, 11, 30),
        ADDED,
        "A consignment between sites takes due_on, the day it is expected; until it is taken in, "
        "what is on the way counts in the stock ahead of the site it goes to.",
    ),
    Change(
        date(2026, 11, 30),
        ADDED,
        "GET /me says whether this is a sandbox, in which nothing is real and all but accounts, "
        "tokens and webhook addresses is made anew each night.",
    ),
    Change(
        date(2026, 11, 30),
        ADDED,
        "UBL 2.1: an Order is taken by POST /tool-orders/bulk and a supplier's OrderResponse by "
        "POST /purchase-orders/{id}/confirmations, both as application/xml; announcements take "
        "a DespatchAdvice or JSON. Out go ubl-order, ubl-receipt-advice, ubl-order-response and "
        "ubl-despatch-advice.",
    ),
    Change(
        date(2026, 11, 30),
        ADDED,
        "Delivery notes: POST /delivery-notes sends castings that are accepted, in parts too, and "
        "returns take a delivery back by a further note; tool.shipped and "
        "tool.shipment_taken_back tell of it, and an order says what of it is with the customer.",
    ),
    Change(
        date(2026, 11, 29),
        ADDED,
        "Tokens: POST /access-tokens makes one, PATCH makes it narrower, rotations give it a new "
        "secret with the old one taken for some hours more, revocations take it back.",
    ),
    Change(
        date(2026, 11, 29),
        ADDED,
        "403 for_a_person: an integration's account may not make a person's judgement, such as "
        "releasing a lot, leaving a step out, or demoulding before the clock says so.",
    ),
    Change(
        date(2026, 11, 29),
        TOLD,
        "Every answer of stock, outlook, costs, trace, sheets, comparison and workbench has its "
        "full shape; so have the members that name what an event is about.",
    ),
    Change(
        date(2026, 11, 29),
        TOLD,
        "New and changed rows are described by what is answered, where that is not what is sent: "
        "proposals, recalls, purchase orders, tool orders, reminder settings.",
    ),
)
