"""What others can be told of: the kinds of events, one list for the feed and for webhooks."""

from __future__ import annotations

from django.db import models

PAYLOAD_VERSION = 1
"""Of the form of an event's `data`; a member is added without a new number, none is taken away."""


class EventKind(models.TextChoices):
    TAKEN = "order.taken", "Taken in"
    CHANGED = "order.changed", "Changed"
    QUANTITY = "order.quantity_changed", "Quantity changed"
    HELD = "order.held", "Put on hold"
    RELEASED = "order.released", "Released from hold"
    CANCELLED = "order.cancelled", "Cancelled"
    PLANNED = "pour.planned", "Planned"
    MOVED = "pour.date_moved", "Date moved"
    TAKEN_OUT = "pour.taken_out", "Taken out of the plan"
    LATE = "pour.late_foreseen", "Foreseen to be late"
    POURED = "batch.poured", "Batch poured"
    CURED = "casting.cured", "Casting cured and demoulded"
    READY = "tool.ready", "Tool ready"
    SHIPPED = "tool.shipped", "Sent to the customer"
    SHIPMENT_BACK = "tool.shipment_taken_back", "Delivery taken back"
    REPLACE = "tool.replacement_due", "Tool due for replacement"
    SHORT = "stock.shortage_foreseen", "Shortage foreseen"
    ENOUGH = "stock.shortage_cleared", "Shortage cleared"
    PROPOSED = "purchase.proposed", "Purchase proposed"
    APPROVED = "purchase.approved", "Purchase order approved"
    RECEIVED = "goods.received", "Goods received"
    EXPIRING = "lot.expiring", "Lot soon expires"
    LOT_HELD = "lot.held", "Lot held"


class ObjectKind(models.TextChoices):
    """What events are about; those of one object are numbered from 1 without gaps."""

    ORDER = "order", "Tool order"
    TOOL = "tool", "Tool"
    MATERIAL = "material", "Material at a site"
    PURCHASE_ORDER = "purchase_order", "Purchase order"
    LOT = "lot", "Lot"
