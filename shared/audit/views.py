"""REST: the audit."""

from __future__ import annotations

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from shared.api import viewsets
from shared.audit import queries
from shared.audit.models import AuditEntry
from shared.audit.serializers import AuditEntrySerializer


class AuditFilter(filters.FilterSet):
    at_from = filters.IsoDateTimeFilter(field_name="at", lookup_expr="gte")
    at_to = filters.IsoDateTimeFilter(field_name="at", lookup_expr="lt")

    class Meta:
        model = AuditEntry
        fields: ClassVar = ["kind", "object_id", "username", "action", "request_id"]


class AuditViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Who changed what, newest first; nothing here can be changed."""

    queryset = AuditEntry.objects.all()
    serializer_class = AuditEntrySerializer
    scope_noun = "audit"
    filterset_class = AuditFilter

    def get_queryset(self) -> Any:
        """Return what the caller's sites did, and what belongs to no site."""
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        return queries.entries(self.access.sites_with(self.scope))
