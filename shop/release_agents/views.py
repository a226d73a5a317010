"""REST: release recipes."""

from __future__ import annotations

from typing import ClassVar

from shop.registers_api import CatalogueViewSet
from shop.release_agents.models import ReleaseRecipe
from shop.release_agents.serializers import ReleaseRecipeSerializer


class ReleaseRecipeViewSet(CatalogueViewSet):
    """So many coats of a release agent, with hands-on and drying times."""

    queryset = ReleaseRecipe.objects.all()
    serializer_class = ReleaseRecipeSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"code": ["exact"], "material": ["exact"]}
    sort_fields = ("code", "id")
