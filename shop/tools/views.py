"""REST: the register of tools and their events."""

from __future__ import annotations

from typing import Any, ClassVar

from shared import clock
from shared.api import idempotency, viewsets
from shared.times import happened
from shop.keys import key_for
from shop.registers_api import RegisterViewSet
from shop.tools import actions
from shop.tools import serializers as forms
from shop.tools.models import Tool, ToolEvent


class ToolViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.SiteViewSet,
):
    """Tools asked for, being cast, in service, retired; their state follows from their events."""

    queryset = Tool.objects.select_related("site").prefetch_related("halves")
    serializer_class = forms.ToolSerializer
    scope_noun = "tools"
    filterset_fields: ClassVar = {
        "status": ["exact"], "kind": ["exact"], "code": ["exact"], "customer": ["exact"],
    }  # fmt: skip
    sort_fields = ("code", "name", "id")
    perform_create = RegisterViewSet.perform_create
    perform_update = RegisterViewSet.perform_update


class ToolEventViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """What happened to tools: shots, coats, inspections, repairs, retirement; only added."""

    queryset = ToolEvent.objects.select_related("by")
    serializer_class = forms.ToolEventSerializer
    scope_noun = "tools"
    versioned = False
    filterset_fields: ClassVar = {"tool": ["exact"], "kind": ["exact"], "at": ["gte", "lt"]}
    sort_fields = ("at", "id")

    def perform_create(self, serializer: Any) -> None:
        """Add the event."""
        body = dict(serializer.validated_data)
        tool = body.pop("tool")
        key = key_for(idempotency.principal(self.request), body.pop("client_reference", None))
        at = happened(body.pop("at", None), now=clock.now())
        serializer.instance = actions.add_event(
            tool_id=tool.pk, key=key, at=at, by=self.request.user, **body
        )
