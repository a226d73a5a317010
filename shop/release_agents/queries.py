"""Reading release recipes."""

from __future__ import annotations

from dataclasses import fields

from shop.materials.queries import material_info
from shop.release_agents.models import ReleaseRecipe
from shop.stores_types import RecipeInfo


def recipe_info(recipe: ReleaseRecipe) -> RecipeInfo:
    """Return the plain form of a recipe."""
    values = {f.name: getattr(recipe, f.name) for f in fields(RecipeInfo)}
    sealer = None if recipe.sealer is None else material_info(recipe.sealer)
    return RecipeInfo(**values | {"material": material_info(recipe.material), "sealer": sealer})


def recipe(**wanted: int | str) -> RecipeInfo:
    """Return the one recipe that fits, by `pk` or `code`."""
    return recipe_info(ReleaseRecipe.objects.select_related("material", "sealer").get(**wanted))
