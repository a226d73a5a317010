"""The forms of release recipes, and of agents that do not go together."""

from __future__ import annotations

from typing import Any

from shop.materials.models import Material, MaterialKind
from shop.release_agents.models import ReleaseClash, ReleaseRecipe
from shop.setup.register_form import CODE_HINT, RegisterForm

AGENTS = [MaterialKind.RELEASE_AGENT, MaterialKind.SEALER]
USUAL_IF_EMPTY: dict[str, int] = {"sealer_dry_min": 0, "recoat_coats": 1}


def _offer(field: Any, kinds: list[MaterialKind]) -> None:
    field.queryset = Material.objects.filter(kind__in=kinds)


class ReleaseRecipeForm(RegisterForm):
    labels = {
        "material": "Release agent",
        "surface": "Surface",
        "sealer": "Sealer before the first coat",
        "sealer_dry_min": "Drying of the sealer, min",
        "coats": "Coats on a bare surface",
        "recoat_coats": "Coats at a re-coat of a tool in use",
        "hands_min_per_m2": "Work on 1 m² and coat, min",
        "least_hands_min": "Work on a coat at least, min",
        "haze_min": "Haze before buffing, min",
        "dry_min": "Drying after each coat, min",
        "last_dry_min": "Drying after the last coat, min",
        "longest_to_pour_min": "Pour at the latest after the last coat, min",
        "shots_per_coat": "Shots between two re-coats",
        "days_per_coat": "Days between two re-coats",
        "strip_after": "Built-up wax comes off after, re-coats",
        "source": "Where these values stand",
    }
    hints = {
        "code": CODE_HINT,
        "coats": "Paste wax on a new pattern: about five (common practice, no source).",
        "surface": "Empty: any surface. A tool takes no recipe for another surface than its face.",
        "sealer": "Porous surfaces are sealed first (common practice, no source).",
        "haze_min": "Empty: it is not buffed.",
        "longest_to_pour_min": "Empty if the maker states none.",
        "shots_per_coat": "Of this and the tool's own the fewer hold. Empty: shots do not count.",
        "days_per_coat": "Empty: coats do not age.",
        "strip_after": "Then the old coats come off, and the face is coated like a new one. "
        "Empty: never.",
    }

    class Meta:
        model = ReleaseRecipe
        fields = [
            "name", "code", "material", "surface", "sealer", "sealer_dry_min", "coats",
            "recoat_coats", "hands_min_per_m2", "least_hands_min", "haze_min", "dry_min",
            "last_dry_min", "longest_to_pour_min", "shots_per_coat", "days_per_coat",
            "strip_after", "source",
        ]  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer(self.fields["material"], AGENTS)
        _offer(self.fields["sealer"], [MaterialKind.SEALER])
        for name in USUAL_IF_EMPTY:
            self.fields[name].required = False

    def values(self) -> dict[str, Any]:
        """Return the columns to write; what was left empty has its usual value."""
        found = super().values()
        for name, usual in USUAL_IF_EMPTY.items():
            if found[name] is None:
                found[name] = usual
        return found


class ReleaseClashForm(RegisterForm):
    """Two agents that must not meet on one surface."""

    labels = {
        "first": "One agent or sealer",
        "second": "The other",
        "reason": "Why they do not go together",
        "source": "Where that stands",
    }

    class Meta:
        model = ReleaseClash
        fields = ["first", "second", "reason", "source"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("first", "second"):
            _offer(self.fields[name], AGENTS)
