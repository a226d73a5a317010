"""Castings in quarantine under /api/v1/casting-quarantines."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from planning.weigh_in import quarantine
from planning.weigh_in.models import CastingQuarantine
from shared import clock
from shared.api import fields, viewsets
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class CastingQuarantineSerializer(StrictModelSerializer):
    """A casting that must not be used until somebody has judged it; released with a reason."""

    batch = fields.IdField(source="entry.batch_id", read_only=True)

    class Meta:
        model = CastingQuarantine
        fields = ["id", "pour", "batch", "entry", "words", "at", "released_at", "release_reason"]
        read_only_fields = fields


class ReleaseSerializer(StrictSerializer):
    """Why a casting may be used after all."""

    reason = fields.TextField(max_length=200)


class CastingQuarantineViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Castings in quarantine, and those that were released."""

    queryset = CastingQuarantine.objects.select_related("entry").order_by("id")
    serializer_class = CastingQuarantineSerializer
    scope_noun = "quarantines"
    site_path = "pour__order__site"
    filterset_fields: ClassVar = {"pour": ["exact"], "released_at": ["isnull"]}

    @extend_schema(responses={201: CastingQuarantineSerializer})
    @action(detail=True, methods=["post"], serializer_class=ReleaseSerializer)
    def releases(self, request: Any, pk: Any = None) -> Any:
        """Let a casting out of quarantine, with the reason."""
        self.read_serializer_class = CastingQuarantineSerializer
        return self.once(
            lambda body: quarantine.release(
                quarantine=self.get_object(), now=clock.now(), by=request.user, **body
            )
        )
