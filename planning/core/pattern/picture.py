"""
A picture of a pattern coloured by draft and undercut, made on the server.

Colours and hatches are those of `pattern_classes`.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planning.core.pattern.classes import CLASSES, COLOURS, HATCHES
from planning.core.pattern.draft import Surface
from planning.core.pattern.mesh import Floats, Mesh
from planning.core.pattern.raster import Overhang, rasterise

if TYPE_CHECKING:
    from PIL.Image import Image

TRAPPED, RESTING = len(CLASSES), len(CLASSES) + 1
SHOWN = (*CLASSES, "trapped", "resting")
VIEWS = {"above": (35.0, 32.0), "below": (215.0, -32.0)}
"""Where the eye is: degrees round the pull, degrees above the board."""
_FINER = 2
"""The picture is drawn this much larger and scaled down, which smooths its edges."""
_LEVEL = 0.9999
_EDGE = 0.86
"""Neighbouring pixels whose normals differ by more than about 30 degrees get a line."""


@dataclass(frozen=True)
class LegendLine:
    """One line of the legend: a row of `SHOWN` and its text."""

    shown: str
    text: str


def picture_png(
    mesh: Mesh,
    surface: Surface,
    overhangs: tuple[Overhang, Overhang | None],
    view: str,
    title: str,
    legend: Sequence[LegendLine],
    width_px: int = 960,
    height_px: int = 640,
) -> bytes:
    """
    Return a PNG of the pattern seen from above or below, with its legend.

    Parameters
    ----------
    mesh : Mesh
        Pull upwards.
    surface : Surface
        Draft of its facets.
    overhangs : tuple of Overhang
        For the upper and, when there is one, the lower half: what lies under them is hatched.
    view : str
        `above` or `below`.
    title : str
        Line over the picture.
    legend : sequence of LegendLine
        Drawn under the picture, two columns.
    width_px, height_px : int
        Size of the drawing without title and legend.
    """
    from PIL import Image

    shade = _drawn(mesh, surface, overhangs, view, width_px * _FINER, height_px * _FINER)
    drawing = Image.fromarray(shade).resize((width_px, height_px), Image.Resampling.LANCZOS)
    page = _with_legend(drawing, title, legend)
    out = io.BytesIO()
    page.quantize(colors=192, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def _eye(view: str) -> Floats:
    """Return the unit vectors right, down and towards the eye, as rows."""
    around, above = np.radians(VIEWS[view])
    towards = np.array(
        [np.cos(above) * np.sin(around), -np.cos(above) * np.cos(around), np.sin(above)]
    )
    right = np.array([np.cos(around), np.sin(around), 0.0])
    return np.stack([right, -np.cross(towards, right), towards])


def _drawn(
    mesh: Mesh,
    surface: Surface,
    overhangs: tuple[Overhang, Overhang | None],
    view: str,
    width: int,
    height: int,
) -> NDArray[np.uint8]:
    eye = _eye(view)
    seen = mesh.points_mm @ eye.T
    low, high = seen.min(axis=0), seen.max(axis=0)
    margin = 0.06 * min(width, height)
    scale = min(
        (width - 2 * margin) / (high[0] - low[0]), (height - 2 * margin) / (high[1] - low[1])
    )
    shift = np.array([width, height]) / 2 - scale * (low[:2] + high[:2]) / 2
    across = np.column_stack([seen[:, :2] * scale + shift, seen[:, 2]])
    raster = rasterise(across, mesh.facets, width, height)

    canvas = np.full((height, width, 3), 255.0)
    rows, columns = np.nonzero(raster.facet >= 0)
    facet = raster.facet[rows, columns]
    flat = (np.column_stack([columns, rows]) + 0.5 - shift) / scale
    points = np.column_stack([flat, raster.depth[rows, columns]]) @ eye
    normals = surface.area_vectors[facet]
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    shown = _shown(surface, overhangs, facet, points, normals)
    # the light stands over the eye's left shoulder; the back of a facet is lit like its front
    light = eye.T @ np.array([-0.4, -0.5, 0.77])
    lit = np.where(shown == RESTING, 0.97, 0.74 + 0.26 * np.abs(normals @ light))
    palette = np.array([_rgb(COLOURS[name]) for name in SHOWN], dtype=float)
    colour = palette[shown] * lit[:, None]
    hatched = _hatch(shown, rows, columns)
    colour[hatched] = np.where(shown[hatched, None] == SHOWN.index("upright"), 235.0, 20.0)
    canvas[rows, columns] = colour
    canvas[_lines(raster.depth, normals, rows, columns, span=float(high[2] - low[2]))] = 30.0
    if surface.parting_mm > 0:
        near = np.abs(points[:, 2] - surface.parting_mm) < 2 * _FINER / scale
        near &= np.abs(normals[:, 2]) < _LEVEL  # a face level with the plane is no line
        dashed = near & ((columns // (12 * _FINER)) % 2 == 0)
        canvas[rows[dashed], columns[dashed]] = 0.0
    return canvas.clip(0, 255).astype(np.uint8)


def _shown(
    surface: Surface,
    overhangs: tuple[Overhang, Overhang | None],
    facet: NDArray[np.int64],
    points: Floats,
    normals: Floats,
) -> NDArray[np.int64]:
    """Return the row of `SHOWN` for each pixel."""
    upper = points[:, 2] >= surface.parting_mm
    on_plane = np.abs(normals[:, 2]) >= _LEVEL
    on_plane &= np.abs(points[:, 2] - surface.parting_mm) < 1e-3
    upper[on_plane] = normals[on_plane, 2] > 0  # it belongs to the half it faces
    shown = np.where(upper, surface.a_class[facet], surface.b_class[facet]).astype(np.int64)
    for half, overhang in zip((upper, ~upper), overhangs, strict=True):
        some = np.flatnonzero(half & (shown != 0))
        if overhang is not None and len(some):
            shown[some[overhang.covers(points[some], normals[some])]] = TRAPPED
    shown[surface.resting[facet]] = RESTING
    return shown


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _hatch(shown: NDArray[np.int64], rows: Any, columns: Any) -> NDArray[np.bool_]:
    """Return which pixels a hatch line or dot of their class falls on."""
    marks = {
        "diagonal": (rows + columns) % 18 < 6,
        "back": (rows - columns) % 18 < 6,
        "level": rows % 14 < 3,
        "dots": ((rows % 16 - 8) ** 2 + (columns % 16 - 8) ** 2) < 14,
    }
    hatched = np.zeros(len(shown), dtype=bool)
    for name, kind in HATCHES.items():
        hatched |= (shown == SHOWN.index(name)) & marks[kind]
    return hatched


def _lines(
    depth: Floats, normals: Floats, rows: Any, columns: Any, span: float
) -> NDArray[np.bool_]:
    """Return pixels on the outline and on folds, so that the shape reads without its colours."""
    field = np.zeros((*depth.shape, 3))
    field[rows, columns] = normals
    seen = np.isfinite(depth)
    deep = np.where(seen, depth, -1e9)
    line = np.zeros(depth.shape, dtype=bool)
    for axis in (0, 1):
        here = [slice(None), slice(None)]
        there = [slice(None), slice(None)]
        here[axis], there[axis] = slice(1, None), slice(None, -1)
        one, other = tuple(here), tuple(there)
        alike = np.einsum("ijk,ijk->ij", field[one], field[other])
        fold = (alike < _EDGE) & seen[one] & seen[other]
        step = np.abs(deep[one] - deep[other]) > 0.03 * span
        line[one] |= fold | step
        line[other] |= step
    return line


def _with_legend(drawing: Image, title: str, legend: Sequence[LegendLine]) -> Image:
    from PIL import Image, ImageDraw, ImageFont

    width, height = drawing.size
    line, top = 40, 50
    rows = (len(legend) + 1) // 2
    page = Image.new("RGB", (width, top + height + rows * line + 16), "white")
    page.paste(drawing, (0, top))
    pen = ImageDraw.Draw(page)
    pen.text((16, 10), title, fill="black", font=ImageFont.load_default(26))
    font = ImageFont.load_default(22)
    for place, entry in enumerate(legend):
        x, y = 16 + (place // rows) * width // 2, top + height + (place % rows) * line + 6
        page.paste(_swatch(entry.shown), (x, y))
        pen.text((x + 62, y + 1), entry.text, fill="black", font=font)
    _pull_arrow(pen, font, (width - 46, top + height - 16))
    return page


def _swatch(shown: str) -> Image:
    from PIL import Image, ImageOps

    wide, high = 52 * _FINER, 30 * _FINER
    rows, columns = (part.ravel() for part in np.mgrid[0:high, 0:wide])
    place = SHOWN.index(shown)
    pixels = np.tile(np.array(_rgb(COLOURS[shown]), dtype=np.uint8), (len(rows), 1))
    marks = _hatch(np.full(len(rows), place), rows, columns)
    pixels[marks] = 235 if shown == "upright" else 20
    small = Image.fromarray(pixels.reshape(high, wide, 3)).resize(
        (52, 30), Image.Resampling.LANCZOS
    )
    return ImageOps.expand(small.crop((1, 1, 51, 29)), 1, "black")


def _pull_arrow(pen: Any, font: Any, foot: tuple[int, int]) -> None:
    x, y = foot
    pen.line([(x, y - 30), (x, y - 90)], fill="black", width=5)
    pen.polygon([(x - 12, y - 84), (x + 12, y - 84), (x, y - 110)], fill="black")
    pen.text((x - 20, y - 26), "pull", fill="black", font=font)
