"""The JSON form of release recipes, and of agents that do not go together."""

from __future__ import annotations

from typing import Any, ClassVar

from shared.api.serializers import StrictModelSerializer
from shop.registers_api import not_below_zero
from shop.release_agents.models import ReleaseClash, ReleaseRecipe


class ReleaseRecipeSerializer(StrictModelSerializer):
    class Meta:
        model = ReleaseRecipe
        fields: ClassVar = [
            "id", "code", "name", "material", "surface", "sealer", "sealer_dry_min", "coats",
            "recoat_coats", "hands_min_per_m2", "least_hands_min", "haze_min", "dry_min",
            "last_dry_min", "longest_to_pour_min", "shots_per_coat", "days_per_coat",
            "strip_after", "source", "etag",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {"hands_min_per_m2": {"validators": [not_below_zero]}}


class ReleaseClashSerializer(StrictModelSerializer):
    class Meta:
        model = ReleaseClash
        fields: ClassVar = ["id", "first", "second", "reason", "source", "etag"]
        # The model puts the two in order before it compares pairs.
        validators: ClassVar[list[Any]] = []
