"""REST form of the events of orders."""

from __future__ import annotations

from typing import ClassVar

from rest_framework import serializers

from planning.order_events.models import OrderEvent
from shared.api.serializers import StrictModelSerializer


class OrderEventSerializer(StrictModelSerializer):
    """One event: what it is about, its number in the order, and the whole as `payload`."""

    payload = serializers.DictField(read_only=True)

    class Meta:
        model = OrderEvent
        fields: ClassVar = [
            "id", "site", "order", "pour", "sequence", "kind", "reason", "at", "payload",
        ]  # fmt: skip
        read_only_fields = fields
