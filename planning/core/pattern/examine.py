"""
A pattern examined: its volume by height, its draft, what would lock, and the casting round it.

The one call a worker makes is `examine`; it takes a mesh as read and returns plain values. The
steps it takes lie in the modules beside this one.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from planning.core.casting.geometry import (
    BadGeometry,
    CastingShape,
    Slice,
    check_between,
    check_size,
)
from planning.core.casting.solids import USUAL_LEAST_COVER_MM, box, box_around, cover_remark
from planning.core.pattern.bodies import Outer, outer_body
from planning.core.pattern.classes import CLASSES
from planning.core.pattern.draft import (
    A_SIDE,
    B_SIDE,
    BAND_DEG,
    Surface,
    examine_surface,
    undercut_patches,
)
from planning.core.pattern.mesh import (
    LARGEST_SIZE_MM,
    LEAST_SIZE_MM,
    Mesh,
    PatternRefused,
    counted,
    lay_down,
)
from planning.core.pattern.picture import LegendLine, picture_png
from planning.core.pattern.raster import Overhang, trapped_mm2
from planning.core.pattern.repair import mend
from planning.core.pattern.sections import Profile, Sections, section_table
from planning.core.pattern.sound import Soundness, inspect
from planning.core.pattern.thin import thin_bytes

SECTIONS_SHOWN = 100
NO_VOLUME = (
    "The surface is not closed, so it has no volume. Mend it in the drawing program, or have it "
    "repaired here and look at what was done."
)


@dataclass(frozen=True)
class Setup:
    """How the pattern lies and what box is built round it; all lengths mm."""

    pull: str | tuple[float, float, float] = "+z"
    parting_mm: float = 0.0
    """Height of the parting plane above the pattern's lowest point; 0 casts one half only."""
    margin_mm: float = 25.0
    cover_mm: float = 20.0
    least_cover_mm: float = USUAL_LEAST_COVER_MM
    wall_draft_deg: float = 0.0
    band_deg: tuple[float, float] = BAND_DEG
    thickest_lift_mm: float = 50.0
    repair: bool = False

    def __post_init__(self) -> None:
        for name in ("margin_mm", "cover_mm", "least_cover_mm"):
            check_between(name, getattr(self, name), 0, LARGEST_SIZE_MM, "mm")
        check_size("thickest_lift_mm", self.thickest_lift_mm)
        check_between("wall_draft_deg", self.wall_draft_deg, -45, 45, "deg")


@dataclass(frozen=True)
class Cover:
    """Least casting between the pattern and the outside of the casting."""

    over_highest_mm: float
    thinnest_mm: float
    thinnest_at_mm: tuple[float, float, float]
    thinnest_towards: str
    """`top`, or `side` for the nearest wall; walls the pattern touches are left out."""
    remark: str


@dataclass(frozen=True)
class Half:
    """One casting: the A half over the parting plane or the B half under it, turned over."""

    name: str
    draft_mm2: dict[str, float]
    undercut_mm2: float
    trapped_mm2: float
    """Faces its pull but lies under an overhang; an estimate on a grid, a little low."""
    wetted_mm2: float
    box_mm: tuple[float, float, float]
    cover: Cover
    pattern_l: float | None
    casting_l: float | None
    casting_rows: list[list[float]] | None
    """The casting's `CastingShape.rows`, for the volume of any lift."""
    layers: list[tuple[float, float, float]]
    """From mm, to mm, L, for the thickest lift asked."""
    refused: str
    """Why there is no casting, in a sentence, or nothing."""


@dataclass(frozen=True)
class Report:
    """Everything found out about a pattern, as plain values."""

    size_mm: tuple[float, float, float]
    soundness: Soundness
    remarks: list[str]
    repaired: list[str]
    solid: bool
    volume_l: float | None
    surface_mm2: float
    sections: list[tuple[float, float, float]]
    """Height mm, area mm2 and volume below mm3."""
    largest_error_l: float | None
    """Most by which a volume read between the stored heights was seen to be off."""
    halves: list[Half]
    undercut_count: int
    undercuts: list[dict[str, Any]]
    grid_step_mm: float
    parting_mm: float
    band_deg: tuple[float, float]

    def as_json(self) -> dict[str, Any]:
        """Return the report as JSON values."""
        return asdict(self)


@dataclass(frozen=True, eq=False)
class Examined:
    """The report with what the pictures are drawn from."""

    report: Report
    mesh: Mesh
    surface: Surface
    overhangs: tuple[Overhang, Overhang | None]

    def picture(self, view: str) -> bytes:
        """Return the PNG seen from `above` or `below`."""
        length, width, height = self.report.size_mm
        title = f"From {view} - {length:.4g} x {width:.4g} x {height:.4g} mm"
        if self.report.parting_mm:
            title += f", parted at {self.report.parting_mm:.4g} mm (dashed)"
        legend = legend_lines(self.report)
        return picture_png(self.mesh, self.surface, self.overhangs, view, title, legend)

    def thin(self) -> bytes:
        """Return the pattern with few facets, for a viewer in the page."""
        return thin_bytes(self.mesh, self.surface)


def examine(mesh: Mesh, setup: Setup) -> Examined:
    """
    Examine a pattern as it would be cast.

    Parameters
    ----------
    mesh : Mesh
        As `read_pattern` returns it.
    setup : Setup
        Pull, parting plane, box and limits.

    Returns
    -------
    Examined
        The report, and what the pictures need. Volumes are left out, with the reason, when the
        mesh is not closed, inside out or crosses itself; draft and undercuts are given all the
        same.

    Raises
    ------
    PatternRefused, BadGeometry
        If the set-up makes no sense for this pattern.
    """
    repaired: tuple[str, ...] = ()
    sound = inspect(mesh)
    outer = _outer(mesh, sound)
    if setup.repair and outer.refused:
        mended = mend(mesh)
        mesh, repaired, sound = mended.mesh, mended.done, mended.soundness
        outer = _outer(mesh, sound)
    lying = lay_down(outer.mesh, setup.pull)
    _check_height(lying)
    surface = examine_surface(lying, setup.parting_mm, setup.band_deg)
    profile, table = None, []
    if not outer.refused:
        sections = Sections(lying)
        profile = sections.shape()
        table = section_table(
            sections, np.linspace(0, sections.height_mm, SECTIONS_SHOWN + 1)[:-1]
        )
    overhangs = (Overhang(lying), Overhang(lying, downwards=True) if setup.parting_mm else None)
    halves = [_half(A_SIDE, lying, surface, overhangs[0], profile or outer.refused, setup)]
    if overhangs[1] is not None:
        halves.append(_half(B_SIDE, lying, surface, overhangs[1], profile or outer.refused, setup))
    count, patches = undercut_patches(lying, surface)
    report = Report(
        size_mm=lying.size_mm,
        soundness=sound,
        remarks=[*sound.remarks(), *outer.remarks, *([outer.refused] if outer.refused else [])],
        repaired=list(repaired),
        solid=not outer.refused,
        volume_l=profile.shape.volume_l() if profile else None,
        surface_mm2=float(np.linalg.norm(surface.area_vectors, axis=1).sum()),
        sections=table,
        largest_error_l=profile.largest_error_mm3 / 1e6 if profile else None,
        halves=halves,
        undercut_count=count,
        undercuts=[asdict(patch) for patch in patches],
        grid_step_mm=overhangs[0].seen_mm,
        parting_mm=setup.parting_mm,
        band_deg=setup.band_deg,
    )
    return Examined(report, lying, surface, overhangs)


def _outer(mesh: Mesh, sound: Soundness) -> Outer:
    return outer_body(mesh, sound.bodies) if sound.closed else Outer(mesh, (), NO_VOLUME)


def _check_height(lying: Mesh) -> None:
    height = lying.size_mm[2]
    if height < LEAST_SIZE_MM:
        raise PatternRefused(
            "flat",
            f"The pattern is {height:.3g} mm high along the pull; at least {LEAST_SIZE_MM:g} mm. "
            "It is a sheet and no body, or the pull is meant along another axis.",
        )


def _half(
    side: int,
    mesh: Mesh,
    surface: Surface,
    overhang: Overhang,
    profile: Profile | str,
    setup: Setup,
) -> Half:
    """Return one casting; `profile` is the pattern's area by height, or why it has none."""
    upper = side == A_SIDE
    areas = surface.a_mm2 if upper else surface.b_mm2
    trapped = trapped_mm2(overhang, mesh, surface.area_vectors, areas, upwards=upper)
    casting, part, refused = None, None, profile if isinstance(profile, str) else ""
    length, width, height = mesh.size_mm
    tall = height - setup.parting_mm if upper else setup.parting_mm
    room = box_around((length, width, tall), margin_mm=setup.margin_mm, cover_mm=setup.cover_mm)
    size = (room.length_mm, room.width_mm, room.depth_mm)
    cover = thinnest_cover(_standing(mesh, setup.parting_mm, upper), size, setup)
    if not isinstance(profile, str):
        part = half_of(profile.shape, setup.parting_mm, upper)
        try:
            casting = box(*size, setup.wall_draft_deg).minus(part)
        except BadGeometry as wrong:
            refused = str(wrong)
    layers = casting.equal_layers(setup.thickest_lift_mm) if casting else ()
    return Half(
        name="A" if upper else "B",
        draft_mm2=surface.by_class(side),
        undercut_mm2=surface.undercut_mm2(side),
        trapped_mm2=trapped,
        wetted_mm2=surface.wetted_mm2(side),
        box_mm=size,
        cover=cover,
        pattern_l=part.volume_l() if part else None,
        casting_l=casting.volume_l() if casting else None,
        casting_rows=casting.rows() if casting else None,
        layers=[(layer.from_mm, layer.to_mm, layer.volume_l) for layer in layers],
        refused=refused,
    )


def half_of(shape: CastingShape, parting_mm: float, upper: bool) -> CastingShape:
    """
    Return the part of a pattern above a parting plane, or below it and turned over.

    Parameters
    ----------
    shape : CastingShape
        The whole pattern.
    parting_mm : float
        Height of the plane, mm; the lower half needs it above 0.
    upper : bool
        Which half.
    """
    low, high = (parting_mm, shape.depth_mm) if upper else (0.0, parting_mm)
    parts = [
        part.between(max(low, part.from_mm), min(high, part.to_mm))
        for part in shape.slices
        if part.to_mm > low and part.from_mm < high
    ]
    if upper:
        moved = [_moved(part, part.from_mm - low, part.to_mm - low) for part in parts]
        return CastingShape(tuple(moved), shape.assumption)
    turned = [
        Slice(
            high - part.to_mm,
            high - part.from_mm,
            part.area_to_mm2,
            part.area_mid_mm2,
            part.area_from_mm2,
        )
        for part in reversed(parts)
    ]
    return CastingShape(tuple(turned), shape.assumption)


def _moved(part: Slice, from_mm: float, to_mm: float) -> Slice:
    return Slice(from_mm, to_mm, part.area_from_mm2, part.area_mid_mm2, part.area_to_mm2)


def _standing(mesh: Mesh, parting_mm: float, upper: bool) -> np.ndarray:
    """Return the points of one half, heights counted from the parting plane."""
    points = mesh.points_mm.copy()
    points[:, 2] = points[:, 2] - parting_mm if upper else parting_mm - points[:, 2]
    return points[points[:, 2] >= 0]


def thinnest_cover(
    points_mm: np.ndarray, box_mm: tuple[float, float, float], setup: Setup
) -> Cover:
    """
    Return the least distance from a pattern to the top and the walls of its box.

    Parameters
    ----------
    points_mm : numpy.ndarray of float, shape (n, 3)
        Corners of the pattern; heights above the board.
    box_mm : tuple of float
        Inside length, width at the board, and depth, mm; the pattern lies in the middle.
    setup : Setup
        Lean of the walls, least cover asked.

    Notes
    -----
    Top and walls are flat, so the least distance is at a corner of the mesh and exact. A wall
    the pattern touches at the board (no margin) is the parting edge, not cover.
    """
    length, width, depth = box_mm
    middle = (points_mm[:, :2].min(axis=0) + points_mm[:, :2].max(axis=0)) / 2
    lean = np.radians(setup.wall_draft_deg)
    nearest = [("top", depth - points_mm[:, 2])]
    if setup.margin_mm > 0:
        for axis, side in ((0, length), (1, width)):
            off = np.abs(points_mm[:, axis] - middle[axis])
            gap = (side / 2 - off) * np.cos(lean) + points_mm[:, 2] * np.sin(lean)
            nearest.append(("side", gap))
    towards, gaps = min(nearest, key=lambda pair: float(pair[1].min()))
    at = points_mm[int(gaps.argmin())]
    over = float(depth - points_mm[:, 2].max())
    thinnest = float(gaps.min())
    remark = cover_remark(over, setup.least_cover_mm)
    if not remark and thinnest < setup.least_cover_mm:
        remark = (
            f"Thinnest cover is {thinnest:.4g} mm towards the {towards}; at least "
            f"{setup.least_cover_mm:g} mm is asked. Widen the box."
        )
    return Cover(over, thinnest, (float(at[0]), float(at[1]), float(at[2])), towards, remark)


def legend_lines(report: Report) -> list[LegendLine]:
    """Return the legend with the area of each class that occurs, all halves together."""
    low, high = report.band_deg
    texts = {
        "undercut": "undercut, locks",
        "upright": "upright, no draft",
        "below_band": f"under {low:g} deg",
        "in_band": f"{low:g} to {high:g} deg",
        "above_band": f"over {high:g} deg",
        "square": "square to the pull",
    }
    lines = []
    for name in CLASSES:
        area = sum(half.draft_mm2[name] for half in report.halves)
        if area > 0:
            lines.append(LegendLine(name, f"{texts[name]}: {area / 100:.4g} cm2"))
    trapped = sum(half.trapped_mm2 for half in report.halves)
    if trapped > 0:
        lines.append(LegendLine("trapped", f"under an overhang: about {trapped / 100:.3g} cm2"))
    if report.parting_mm == 0:
        lines.append(LegendLine("resting", "rests on the board"))
    return lines


def summary(report: Report) -> str:
    """Return one sentence on whether a casting would come off the pattern."""
    if report.undercut_count == 0:
        return "No undercuts found by the facets' directions."
    area = sum(half.undercut_mm2 for half in report.halves)
    return (
        f"{counted(report.undercut_count, 'undercut')} of {area / 100:.4g} cm2 together would "
        "lock the casting. Fill them, part the pattern elsewhere, or cast a loose piece."
    )
