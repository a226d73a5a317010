"""REST: the sites, and who the caller is."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import IsAuthenticated
from rest_framework.response import Response

from shared.access import actions
from shared.access.models import Site
from shared.access.serializers import CallerSerializer, SiteSerializer
from shared.api import viewsets
from shared.api.access import access_of

FURTHER = ("expected_c", "legal_name", "address", "delivery_address", "contact", "tax_number")
"""What a new site may be given beside code, name and time zone."""


class SiteViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.SiteViewSet,
):
    """Places of work with their own stock, people and plans."""

    queryset = Site.objects.all()
    serializer_class = SiteSerializer
    scope_noun = "sites"
    scope_actions = {"create": "accounts:write"}
    company_actions = frozenset({"create"})
    sort_fields = ("code", "name", "id")

    def perform_create(self, serializer: Any) -> None:
        """Open a site."""
        values = serializer.validated_data
        serializer.instance = actions.add_site(
            code=values["code"],
            name=values["name"],
            time_zone=values.get("time_zone", "UTC"),
            by=self.request.user,
            **{name: values[name] for name in FURTHER if name in values},
        )

    def perform_update(self, serializer: Any) -> None:
        """Change a site after the model's own checks."""
        serializer.instance = actions.change_site(serializer.instance, **serializer.validated_data)


class Me(GenericAPIView):
    """Who the caller is, and what they may do where."""

    permission_classes = (IsAuthenticated,)
    serializer_class = CallerSerializer
    pagination_class = None
    filter_backends = ()

    @extend_schema(responses=CallerSerializer, tags=["accounts"], operation_id="me_retrieve")
    def get(self, request: Any) -> Response:
        """Return the caller."""
        access = access_of(request)
        scopes = access.scopes_by_site
        found = {
            "username": request.user.username,
            "name": str(request.user),
            "token": request.auth.prefix if request.auth else None,
            "all_sites": sorted(access.for_all()),
            "sandbox": settings.SANDBOX,
            "sites": [
                {
                    "site": site.code,
                    "name": site.name,
                    "time_zone": site.time_zone,
                    "scopes": sorted(scopes[site.pk]),
                }
                for site in Site.objects.filter(pk__in=list(scopes))
            ],
        }
        return Response(CallerSerializer(found).data)
