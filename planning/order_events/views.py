"""REST: the events of orders, as they were written with each change."""

from __future__ import annotations

from typing import ClassVar

from planning.order_events.models import OrderEvent
from planning.order_events.serializers import OrderEventSerializer
from shared.api import viewsets


class OrderEventViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Events of orders: never changed, numbered per order without gaps."""

    queryset = OrderEvent.objects.select_related("site").order_by("id")
    serializer_class = OrderEventSerializer
    scope_noun = "events"
    filterset_fields: ClassVar = {"order": ["exact"], "kind": ["exact"], "id": ["gt"]}
    sort_fields = ("id",)
