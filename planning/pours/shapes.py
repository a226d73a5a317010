"""From the fields of a pour to its casting: volume, mass and layers the planner can cut at."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from planning.core.casting.geometry import BadGeometry, CastingShape
from planning.core.casting.solids import casting_in_box, stated
from shared.errors import FieldProblem, Invalid

FIELD_OF_CORE = {
    "wall_draft_deg": "draft_deg",
    "pattern_volume_l": "pattern_l",
    "volume_l": "stated_l",
}
"""Where the core's name of a value differs from the field a person fills in."""

MOST_MM = 6000
"""Longest side of a casting, mm. Larger is a slip of the keyboard; chosen here, no source."""
MOST_KG = Decimal(20_000)
"""Most that is taken in as one casting, kg; what is cast in one shop is far below. No source."""
THINNEST_LAYER_MM = 5.0
MOST_LAYERS = 60


@dataclass(frozen=True)
class Casting:
    """What a pour holds. Masses in kg; the brush coat goes in with the first layer."""

    volume_l: float
    mass_kg: float
    layers: tuple[dict[str, float], ...]
    release_area_m2: float
    assumption: str


def shape_of(fields: Mapping[str, Any]) -> CastingShape:
    """Return the room the resin fills, or raise `Invalid` naming field, value, limit and unit."""
    try:
        if fields["geometry"] == "volume":
            _need(fields, "stated_l", "depth_mm")
            return stated(float(fields["stated_l"]), float(fields["depth_mm"]))
        if fields["geometry"] == "mesh":
            if not fields.get("shape_rows"):
                raise Invalid.one(
                    "geometry", "no_pattern", "geometry is mesh; choose a pattern that was read."
                )
            return CastingShape.from_rows(fields["shape_rows"])
        _need(fields, "length_mm", "width_mm", "depth_mm")
        height = fields.get("pattern_height_mm")
        return casting_in_box(
            length_mm=float(fields["length_mm"]),
            width_mm=float(fields["width_mm"]),
            depth_mm=float(fields["depth_mm"]),
            wall_draft_deg=float(fields.get("draft_deg") or 0),
            pattern_volume_l=float(fields.get("pattern_l") or 0),
            pattern_height_mm=None if height is None else float(height),
        )
    except BadGeometry as error:
        field = FIELD_OF_CORE.get(error.field, error.field)
        sentence = str(error).replace(error.field, field)
        raise Invalid(
            "The casting's sizes do not fit together.",
            (
                FieldProblem(
                    pointer=f"#/{field}",
                    code="bad_geometry",
                    detail=sentence,
                    value=f"{error.value:g}",
                    limit=error.limit,
                    unit=error.unit,
                ),
            ),
        ) from error


def _need(fields: Mapping[str, Any], *names: str) -> None:
    missing = [name for name in names if fields.get(name) is None]
    if missing:
        raise Invalid(
            "A size is missing.",
            tuple(
                FieldProblem(
                    pointer=f"#/{name}",
                    code="required",
                    detail=f"{name} is missing; geometry '{fields['geometry']}' needs it.",
                )
                for name in missing
            ),
        )


def casting_of(fields: Mapping[str, Any], density_kg_l: Decimal) -> Casting:
    """Work out volume, mass and layers of a pour; refuse what no shop casts."""
    _refuse_giant(fields)
    shape = shape_of(fields)
    thickness = max(THINNEST_LAYER_MM, shape.depth_mm / MOST_LAYERS)
    density = float(density_kg_l)
    layers = [
        {"depth_mm": layer.depth_mm, "mass_kg": layer.mass_kg(density)}
        for layer in shape.equal_layers(thickness)
        if layer.volume_l > 0
    ]
    brush = float(fields.get("brush_coat_kg") or 0)
    layers[0]["mass_kg"] += brush
    volume = shape.volume_l()
    _refuse_too_heavy(fields, volume * density + brush)
    return Casting(
        volume_l=volume,
        mass_kg=volume * density + brush,
        layers=tuple(layers),
        release_area_m2=_release_area_m2(fields, shape),
        assumption=shape.assumption,
    )


def _refuse_giant(fields: Mapping[str, Any]) -> None:
    for name in ("length_mm", "width_mm", "depth_mm", "pattern_height_mm"):
        value = fields.get(name)
        if value is not None and float(value) > MOST_MM:
            raise Invalid.one(
                name,
                "too_large",
                f"{name} is {value} mm; give at most {MOST_MM} mm. Check the unit.",
                value=value,
                limit=MOST_MM,
                unit="mm",
            )


def _refuse_too_heavy(fields: Mapping[str, Any], mass_kg: float) -> None:
    if mass_kg > MOST_KG:
        name = {"volume": "stated_l", "mesh": "geometry"}.get(fields["geometry"], "depth_mm")
        raise Invalid.one(
            name,
            "too_heavy",
            f"{name} is {fields[name]}: the casting would weigh {mass_kg:,.0f} kg; at most "
            f"{MOST_KG:,} kg is taken in as one casting. Check the sizes and their units.",
            value=f"{mass_kg:.4f}",
            limit=MOST_KG,
            unit="kg",
        )


def _release_area_m2(fields: Mapping[str, Any], shape: CastingShape) -> float:
    """Stated area, else board and walls of the box, else those of a square of the same area."""
    if fields.get("release_area_m2"):
        return float(fields["release_area_m2"])
    if fields.get("length_mm") and fields.get("width_mm"):
        length, width = float(fields["length_mm"]), float(fields["width_mm"])
    else:
        length = width = math.sqrt(shape.area_mm2(0.0))
    return (length * width + 2 * (length + width) * shape.depth_mm) / 1e6
