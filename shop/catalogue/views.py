"""REST: proposed changes of the catalogue, their release, and the rule that asks for it."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from shared import clock
from shared.api import viewsets
from shop.catalogue import actions, queries
from shop.catalogue import serializers as forms
from shop.catalogue.models import CatalogueChange, CatalogueRules


class CatalogueChangeViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Changes proposed by one person and released by another; they are kept for ever."""

    queryset = CatalogueChange.objects.select_related("proposed_by", "decided_by").order_by("-id")
    serializer_class = forms.CatalogueChangeSerializer
    read_serializer_class = forms.CatalogueChangeSerializer
    scope_noun = "materials"
    company_actions = frozenset({"releases", "refusals"})
    personal_actions: ClassVar = {
        "releases": "A second signature", "refusals": "Declining a change",
    }  # fmt: skip
    filterset_fields: ClassVar = {"state": ["exact"], "register": ["exact"], "row_id": ["exact"]}
    sort_fields = ("valid_from", "id")

    @extend_schema(responses={201: forms.CatalogueChangeSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.DecisionSerializer)
    def releases(self, request: Any, pk: Any = None) -> Any:
        """Give the second signature."""
        change = self.get_object()
        return self.once(
            lambda body: actions.release(change=change, by=request.user, now=clock.now(), **body)
        )

    @extend_schema(responses={201: forms.CatalogueChangeSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.DecisionSerializer)
    def refusals(self, request: Any, pk: Any = None) -> Any:
        """Decline a change that is not in force; the reason is needed."""
        change = self.get_object()
        return self.once(
            lambda body: actions.decline(
                change=change, by=request.user, now=clock.now(), reason=body.get("reason", "")
            )
        )


class CatalogueRulesViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """The company's rules for its catalogue: one row."""

    queryset = CatalogueRules.objects.order_by("id")
    serializer_class = forms.CatalogueRulesSerializer
    read_serializer_class = forms.CatalogueRulesSerializer
    scope_noun = "materials"
    scope_actions: ClassVar = {"partial_update": "accounts:write"}
    company_actions = viewsets.ALL_CHANGES

    def get_queryset(self) -> Any:
        """Make the row on first use, so that there is always one to read."""
        if not getattr(self, "swagger_fake_view", False):
            queries.rules()
        return super().get_queryset()

    def perform_update(self, serializer: Any) -> None:
        """Turn second signatures on or off."""
        asked = serializer.validated_data
        serializer.instance = actions.set_rules(
            two_signatures=asked.get("two_signatures"), orders_by_two=asked.get("orders_by_two")
        )
