"""
Castings of the usual shapes: boxes, frusta, cones, bowls, and a box poured over a pattern.

Each returns a `CastingShape`, so lifts and depths come from `planning.core.casting.geometry`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from planning.core.casting.geometry import (
    LARGEST_MM,
    MM3_PER_L,
    BadGeometry,
    CastingShape,
    Slice,
    check_between,
    check_size,
)

USUAL_LEAST_COVER_MM = 10.0
"""Least casting over the highest point of a pattern. Common practice, no source."""


def prismoid(
    bottom_mm: tuple[float, float], top_mm: tuple[float, float], height_mm: float
) -> CastingShape:
    """
    Return a rectangular frustum: a box whose sides lean.

    Parameters
    ----------
    bottom_mm, top_mm : tuple of float
        Length and width at the bottom and at the top, mm.
    height_mm : float
        Height, mm.
    """
    check_size("height_mm", height_mm)
    for name, pair in (("bottom_mm", bottom_mm), ("top_mm", top_mm)):
        for side in pair:
            check_size(name, side)
    middle = [(a + b) / 2 for a, b in zip(bottom_mm, top_mm, strict=True)]
    areas = (bottom_mm[0] * bottom_mm[1], middle[0] * middle[1], top_mm[0] * top_mm[1])
    return CastingShape((Slice(0.0, float(height_mm), *areas),))


def frustum(r_bottom_mm: float, r_top_mm: float, height_mm: float) -> CastingShape:
    """
    Return a cone frustum; a radius of 0 makes a cone, equal radii a cylinder.

    Volume pi h/3 (r1^2 + r1 r2 + r2^2), reached here by the prismoidal rule.
    """
    check_size("height_mm", height_mm)
    check_between("r_bottom_mm", r_bottom_mm, 0, LARGEST_MM, "mm")
    check_between("r_top_mm", r_top_mm, 0, LARGEST_MM, "mm")
    check_size("r_bottom_mm + r_top_mm", r_bottom_mm + r_top_mm)
    radii = (r_bottom_mm, (r_bottom_mm + r_top_mm) / 2, r_top_mm)
    areas = [math.pi * radius**2 for radius in radii]
    return CastingShape((Slice(0.0, float(height_mm), *areas),))


def spherical_cap(radius_mm: float, height_mm: float) -> CastingShape:
    """
    Return the lowest part of a sphere: a bowl filled to `height_mm`.

    Area at height z is pi z (2R - z), a quadratic; volume pi h^2 (3R - h)/3.
    """
    check_size("radius_mm", radius_mm)
    check_between("height_mm", height_mm, math.ulp(0.0), 2 * radius_mm, "mm")
    heights = (0.0, height_mm / 2, height_mm)
    areas = [math.pi * z * (2 * radius_mm - z) for z in heights]
    return CastingShape((Slice(0.0, float(height_mm), *areas),))


def box(
    length_mm: float, width_mm: float, depth_mm: float, wall_draft_deg: float = 0.0
) -> CastingShape:
    """
    Return the room inside a box of barriers.

    Parameters
    ----------
    length_mm, width_mm : float
        Inside sizes at the board, mm.
    depth_mm : float
        From the board to the top of the casting, mm.
    wall_draft_deg : float
        Lean of all four walls from upright, degrees. Positive leans outwards, so the casting is
        wider at its top and leaves the box or the extension upwards.

    Raises
    ------
    BadGeometry
        If a size is not above 0 mm, the lean is beyond 45 degrees, or walls leaning inwards
        meet below the top.
    """
    check_between("wall_draft_deg", wall_draft_deg, -45, 45, "deg")
    for name, value in (("length_mm", length_mm), ("width_mm", width_mm), ("depth_mm", depth_mm)):
        check_size(name, value)
    lean = 2 * depth_mm * math.tan(math.radians(wall_draft_deg))
    narrow = min(length_mm, width_mm)
    if narrow + lean <= 0:
        limit = math.degrees(math.atan(narrow / (2 * depth_mm)))
        raise BadGeometry(
            "wall_draft_deg",
            wall_draft_deg,
            "deg",
            f"above -{limit:.4g} deg for a side of {narrow:g} mm and {depth_mm:g} mm depth",
            "The walls would meet below the top.",
        )
    return prismoid((length_mm, width_mm), (length_mm + lean, width_mm + lean), depth_mm)


def stated(volume_l: float, depth_mm: float) -> CastingShape:
    """Return a casting of which only volume and depth are known: the same area at all heights."""
    check_size("depth_mm", depth_mm)
    if not 0 < volume_l < math.inf:
        raise BadGeometry("volume_l", volume_l, "L", "above 0")
    area = volume_l * MM3_PER_L / depth_mm
    said = "Only volume and depth are stated, so each lift's volume goes by its depth."
    return CastingShape((Slice(0.0, float(depth_mm), area, area, area),), said)


def spread_pattern(volume_l: float, height_mm: float) -> CastingShape:
    """Return a pattern of which only volume and height are known, the same area at all heights."""
    check_size("pattern_height_mm", height_mm)
    if not 0 < volume_l < math.inf:
        raise BadGeometry("pattern_volume_l", volume_l, "L", "above 0")
    area = volume_l * MM3_PER_L / height_mm
    said = (
        "The pattern's volume is spread evenly over its height: the total is exact, the volume "
        "of each lift is not. A mesh of the pattern makes it exact."
    )
    return CastingShape((Slice(0.0, float(height_mm), area, area, area),), said)


def casting_in_box(
    *,
    length_mm: float,
    width_mm: float,
    depth_mm: float,
    wall_draft_deg: float = 0.0,
    pattern_volume_l: float = 0.0,
    pattern_height_mm: float | None = None,
) -> CastingShape:
    """
    Return the casting poured into a box over a pattern whose volume is known.

    Parameters
    ----------
    length_mm, width_mm, depth_mm, wall_draft_deg : float
        The box, see `box`.
    pattern_volume_l : float
        Volume the pattern takes up, L; 0 for none.
    pattern_height_mm : float, optional
        Height of the pattern's highest point, mm. Left out, the casting's depth less the usual
        least cover of 10 mm.

    Raises
    ------
    BadGeometry
        If a size makes no sense or the pattern is larger than its box.
    """
    room = box(length_mm, width_mm, depth_mm, wall_draft_deg)
    if pattern_volume_l == 0:
        return room
    if not pattern_volume_l < room.volume_l():
        raise BadGeometry(
            "pattern_volume_l",
            pattern_volume_l,
            "L",
            f"below {room.volume_l():.6g} L, the volume of its box",
            "Check the unit of the pattern's volume.",
        )
    if pattern_height_mm is None:
        pattern_height_mm = max(depth_mm - USUAL_LEAST_COVER_MM, depth_mm / 2)
    return room.minus(spread_pattern(pattern_volume_l, pattern_height_mm))


@dataclass(frozen=True)
class BoxSize:
    """Inside sizes of a box of barriers, mm."""

    length_mm: float
    width_mm: float
    depth_mm: float


def box_around(
    size_mm: tuple[float, float, float], *, margin_mm: float, cover_mm: float
) -> BoxSize:
    """
    Return the box that leaves a margin at every side of a pattern and cover over it.

    Parameters
    ----------
    size_mm : tuple of float
        Length, width and height of the pattern as it lies in the box, mm.
    margin_mm : float
        Room at each of the four sides, mm; 0 where the pattern reaches the wall.
    cover_mm : float
        Casting over the pattern's highest point, mm.
    """
    for name, value in zip(("length_mm", "width_mm", "height_mm"), size_mm, strict=True):
        check_size(name, value)
    check_between("margin_mm", margin_mm, 0, LARGEST_MM, "mm")
    check_between("cover_mm", cover_mm, 0, LARGEST_MM, "mm")
    length, width, height = size_mm
    return BoxSize(length + 2 * margin_mm, width + 2 * margin_mm, height + cover_mm)


def cover_remark(cover_mm: float, least_mm: float = USUAL_LEAST_COVER_MM) -> str:
    """Return a sentence when the cover is thinner than asked, else nothing."""
    if cover_mm >= least_mm:
        return ""
    return (
        f"Cover over the highest point is {cover_mm:.4g} mm; at least {least_mm:g} mm is asked. "
        "Pour deeper, or expect a tool that cracks there."
    )
