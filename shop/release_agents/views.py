"""REST: release recipes, and agents that do not go together."""

from __future__ import annotations

from typing import ClassVar

from shop.registers_api import CatalogueViewSet
from shop.release_agents.models import ReleaseClash, ReleaseRecipe
from shop.release_agents.serializers import ReleaseClashSerializer, ReleaseRecipeSerializer


class ReleaseRecipeViewSet(CatalogueViewSet):
    """So many coats of a release agent, with hands-on and drying times."""

    queryset = ReleaseRecipe.objects.all()
    serializer_class = ReleaseRecipeSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"code": ["exact"], "material": ["exact"], "surface": ["exact"]}
    sort_fields = ("code", "id")


class ReleaseClashViewSet(CatalogueViewSet):
    """Two release agents or sealers that must not meet on one surface, and why."""

    queryset = ReleaseClash.objects.all()
    serializer_class = ReleaseClashSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"first": ["exact"], "second": ["exact"]}
    sort_fields = ("id",)
