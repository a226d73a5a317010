"""The JSON form of release recipes."""

from __future__ import annotations

from typing import ClassVar

from shared.api.serializers import StrictModelSerializer
from shop.registers_api import not_below_zero
from shop.release_agents.models import ReleaseRecipe


class ReleaseRecipeSerializer(StrictModelSerializer):
    class Meta:
        model = ReleaseRecipe
        fields: ClassVar = [
            "id", "code", "name", "material", "coats", "hands_min_per_m2", "least_hands_min",
            "dry_min", "last_dry_min", "longest_to_pour_min", "source", "etag",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {"hands_min_per_m2": {"validators": [not_below_zero]}}
