"""
Heat in the section of a casting, in two dimensions: a long bar, or a round casting about its axis.

Cell-centred finite volumes on a rectangular grid from the middle outwards and from the base up; a
pattern may stand in the middle of the base. Conduction couples the cells, cure heats each of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.conduction import Law
from planning.core.casting.faces import INSULATED, Face
from planning.core.casting.system import Thermal

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Array = NDArray[np.float64]

LONG, ROUND = "long", "round"
BASE, SIDE, TOP, PATTERN = range(4)
"""The faces, in the order of all that is told of them."""
LONG_SIDES = 3.0
"""A casting so many times as long as wide counts as long. Chosen here, no source."""
NARROW_DEPTHS = 5.0
"""Narrower than so many of its depths, a lift on board in sides of board gains less than nine
tenths of a wide one's rise (computed here on the invented filled system)."""
CELLS = 28
"""Along half the width and along the depth, thin ones at the faces. Peaks within 0.1 %, times to
demoulding within 0.5 % of twice as many on filled castings of 40 to 200 mm."""
_ATOL_K, _ATOL = 100.0, 0.1
"""Times the relative tolerance."""


@dataclass(frozen=True)
class Section:
    """
    Half of a casting's section, from its middle to its side and from its base to its top.

    Faces that lose heat: under the casting, at its sides, above it, and to the pattern.
    """

    shape: str
    """`LONG`, as long as it likes across the section, or `ROUND` about the axis in its middle."""
    width_mm: float
    """From side to side, or the diameter."""
    depth_mm: float
    base: Face
    side: Face
    top: Face
    pattern: Face = INSULATED
    pattern_width_mm: float = 0.0
    pattern_height_mm: float = 0.0

    def __post_init__(self) -> None:
        if self.shape not in (LONG, ROUND):
            raise ValueError(f"shape is {self.shape!r}; it must be {LONG!r} or {ROUND!r}")
        require.positive(width_mm=self.width_mm, depth_mm=self.depth_mm)
        require.within(0.0, 20_000.0, width_mm=self.width_mm)
        require.within(0.0, 5_000.0, depth_mm=self.depth_mm)
        require.within(0.0, self.width_mm, pattern_width_mm=self.pattern_width_mm)
        require.within(0.0, self.depth_mm, pattern_height_mm=self.pattern_height_mm)
        if bool(self.pattern_width_mm) != bool(self.pattern_height_mm):
            raise ValueError("a pattern needs both its width and its height, in mm")
        if self.pattern_width_mm == self.width_mm and self.pattern_height_mm == self.depth_mm:
            raise ValueError("the pattern fills the whole section; nothing is left to cast")


def section_of(
    depth_mm: float, area_mm2: float, base: Face, side: Face, top: Face,
    length_mm: float | None = None, width_mm: float | None = None,
) -> Section:  # fmt: skip
    """
    Return the section of a lift of which only its area is known, or also its sides.

    At least `LONG_SIDES` times as long as wide it is long, and its area is shared out along its
    length; else it counts as round, of the same area.
    """
    require.positive(area_mm2=area_mm2)
    if length_mm and width_mm:
        longer, shorter = max(length_mm, width_mm), min(length_mm, width_mm)
        if longer >= LONG_SIDES * shorter:
            return Section(LONG, min(shorter, area_mm2 / longer), depth_mm, base, side, top)
    return Section(ROUND, math.sqrt(4 * area_mm2 / math.pi), depth_mm, base, side, top)


@dataclass(frozen=True)
class Meeting:
    """Cells that meet one kind of face; each of shape (cells at it,)."""

    cells: NDArray[np.int_]
    area: Array
    half_m: Array
    """From the middle of the cell to the face."""

    def film(self, face: Face, conductivity_w_mk: float) -> Array:
        """Return film and half a cell in series, W/m2K."""
        return np.array(
            [face.conductance_w_m2k(half, conductivity_w_mk) for half in self.half_m.tolist()]
        )


@dataclass(frozen=True)
class Cells:
    """A section cut into cells, for one metre of a long one or one radian of a round one."""

    conduction: csr_array
    """Shape (n, n), 1/s: what the cells' temperatures do to each other's."""
    gain: Array
    """Shape (4, n), 1/s: what the surroundings of base, side, top and pattern do to a cell."""
    capacities: Array
    """Shape (n,), J/K."""
    across_mm: Array
    """Edges of the columns, from the middle outwards."""
    up_mm: Array
    """Edges of the rows, from the base up."""
    number: NDArray[np.int_]
    """Shape (rows, columns): which cell is there; -1 where the pattern is."""
    at_faces: tuple[tuple[NDArray[np.int_], Array], ...]
    """For base, side, top and pattern: the cells at it, and the share of the way from a cell's
    temperature to that of the surroundings at which the face lies."""

    def face_c(self, which: int, temps_c: Array, around_c: float) -> Array:
        """Return the hottest place of a face, shape (times,), of cells of shape (times, n)."""
        there, share = self.at_faces[which]
        if not len(there):
            return np.full(len(temps_c), -np.inf)
        faces = temps_c[:, there] + share * (around_c - temps_c[:, there])
        hottest: Array = faces.max(axis=1)
        return hottest


def cut(section: Section, thermal: Thermal, columns: int = CELLS, rows: int = CELLS) -> Cells:
    """
    Cut a section into cells.

    Parameters
    ----------
    section : Section
        What is cast.
    thermal : Thermal
        Heat properties.
    columns, rows : int
        About so many cells along half the width, and along the depth.
    """
    require.within(1, 400, columns=columns, rows=rows)
    x = _edges(section.width_mm / 2000, section.pattern_width_mm / 2000, columns, from_middle=True)
    y = _edges(section.depth_mm / 1000, section.pattern_height_mm / 1000, rows)
    across, up = (x[:-1] + x[1:]) / 2, (y[:-1] + y[1:]) / 2
    # Of a round section: the radius at an edge and the area of a ring, for one radian.
    reach = x if section.shape == ROUND else np.ones_like(x)
    plan = np.diff(x) * (across if section.shape == ROUND else 1.0)
    pattern = np.outer(
        up < section.pattern_height_mm / 1000, across < section.pattern_width_mm / 2000
    )
    number = np.where(pattern, -1, np.cumsum(~pattern).reshape(pattern.shape) - 1)
    heat = thermal.density_kg_m3 * thermal.heat_capacity_j_kgk
    capacities = heat * np.outer(np.diff(y), plan)[~pattern]
    k = thermal.conductivity_w_mk
    met = _meetings(number, x, y, reach, plan)
    faces = (section.base, section.side, section.top, section.pattern)
    films = [one.film(face, k) for one, face in zip(met, faces, strict=True)]
    gain = np.zeros((4, len(capacities)))
    for row, one, film in zip(gain, met, films, strict=True):
        np.add.at(row, one.cells, film * one.area)
    conduction = _conduction(number, x, y, reach, plan, k, gain.sum(axis=0), capacities)
    at_faces = tuple(
        (one.cells, film * one.half_m / k) for one, film in zip(met, films, strict=True)
    )
    return Cells(conduction, gain / capacities, capacities, 1000 * x, 1000 * y, number, at_faces)


def _edges(end: float, inner: float, cells: int, *, from_middle: bool = False) -> Array:
    """Return edges from 0 to `end`, one of them at `inner`; cells are thin where faces are."""
    if not 0 < inner < end:
        return end * _places(cells, both=not from_middle)
    inside = min(max(3, round(cells * inner / end)), max(3, cells - 3))
    outside = max(3, cells - inside)
    first = inner * _places(inside, both=not from_middle)
    return np.concatenate([first, inner + (end - inner) * _places(outside, both=True)[1:]])


def _places(cells: int, *, both: bool) -> Array:
    """Return edges from 0 to 1 that crowd at 1, or at both ends."""
    even = np.linspace(0.0, 1.0, cells + 1)
    places: Array = (1 - np.cos(np.pi * even)) / 2 if both else np.sin(np.pi / 2 * even)
    return places


def _meetings(
    number: NDArray[np.int_], x: Array, y: Array, reach: Array, plan: Array
) -> tuple[Meeting, Meeting, Meeting, Meeting]:
    """Return where cells meet base, side, top and pattern."""
    dx, dy = np.diff(x), np.diff(y)
    across, up = np.broadcast_to(dx / 2, number.shape), np.broadcast_to(dy / 2, number.T.shape).T
    flat, tall = np.broadcast_to(plan, number.shape), np.outer(dy, reach)
    above = (number[:-1] < 0) & (number[1:] >= 0)
    beside = (number[:, :-1] < 0) & (number[:, 1:] >= 0)
    base, side = number[0] >= 0, number[:, -1] >= 0
    return (
        Meeting(number[0][base], flat[0][base], up[0][base]),
        Meeting(number[:, -1][side], tall[:, -1][side], across[:, -1][side]),
        Meeting(number[-1][number[-1] >= 0], flat[-1][number[-1] >= 0], up[-1][number[-1] >= 0]),
        Meeting(
            np.concatenate([number[1:][above], number[:, 1:][beside]]),
            np.concatenate([flat[1:][above], tall[:, 1:-1][beside]]),
            np.concatenate([up[1:][above], across[:, 1:][beside]]),
        ),
    )


def _conduction(
    number: NDArray[np.int_], x: Array, y: Array, reach: Array, plan: Array, k: float,
    to_faces: Array, capacities: Array,
) -> csr_array:  # fmt: skip
    """Return the flows between cells, and out of them, for each kelvin, over their capacity."""
    from scipy.sparse import coo_array

    dx, dy = np.diff(x), np.diff(y)
    sideways = k * np.outer(dy, reach[1:-1] / (dx[:-1] / 2 + dx[1:] / 2))
    upwards = k * np.outer(1 / (dy[:-1] / 2 + dy[1:] / 2), plan)
    rows, columns, flows = [np.arange(len(capacities))], [np.arange(len(capacities))], [-to_faces]
    for one, other, flow in (
        (number[:, :-1], number[:, 1:], sideways),
        (number[:-1], number[1:], upwards),
    ):
        inside = (one >= 0) & (other >= 0)
        a, b, g = one[inside], other[inside], flow[inside]
        rows += [a, b, a, b]
        columns += [b, a, a, b]
        flows += [g, g, -g, -g]
    row = np.concatenate(rows)
    values = np.concatenate(flows) / capacities[row]
    n = len(capacities)
    return coo_array((values, (row, np.concatenate(columns))), (n, n)).tocsr()


@dataclass(frozen=True)
class SectionHistory:
    """A section over time."""

    times_s: Array
    temps_k: Array
    """Shape (times, cells)."""
    conversions: Array
    """Shape (times, cells)."""
    steps_s: Array
    """The integrator's own steps, which crowd where a quick mix peaks, shape (steps,)."""
    hottest_k: Array
    """Hottest cell at each of them, shape (steps,)."""


def march_section(
    cells: Cells,
    law: Law,
    rise_k: float,
    around_k: Array,
    start_k: Array | float,
    start_conversion: Array | float,
    times_s: Array,
    *,
    rtol: float = 1e-5,
) -> SectionHistory:
    """
    Integrate a section from the first of `times_s` to the last.

    Parameters
    ----------
    cells : Cells
        Where the heat flows.
    law : Law
        Rate of conversion; sees all cells at once, as shape (1, n).
    rise_k : float
        Temperature rise of a cell that reacts fully and loses nothing, K.
    around_k : numpy.ndarray of float, shape (4,)
        Temperatures beyond base, side, top and pattern, K.
    start_k, start_conversion : numpy.ndarray of float, shape (n,), or float
        State at the first time.
    times_s : numpy.ndarray of float, shape (m,)
        Rising times at which the state is wanted, s.
    rtol : float
        Relative tolerance of the integrator.

    Returns
    -------
    SectionHistory
        State at every time asked.

    Raises
    ------
    ArithmeticError
        If the integrator gives up.

    Notes
    -----
    Backward differences of variable order with the sparse Jacobian written out.
    """
    from scipy.integrate import solve_ivp
    from scipy.sparse import block_array, diags_array

    n = len(cells.capacities)
    supplied = around_k @ cells.gain

    def slope(_time: float, state: Array) -> Array:
        rate = law.rate(state[None, :n], state[None, n:], np.empty((1, n)))[0]
        return np.concatenate([cells.conduction @ state[:n] + supplied + rise_k * rate, rate])

    def jacobian(_time: float, state: Array) -> object:
        by_temp, by_alpha = (
            s[0] for s in law.slopes(state[None, :n].copy(), state[None, n:].copy())
        )
        return block_array([
            [cells.conduction + diags_array(rise_k * by_temp), diags_array(rise_k * by_alpha)],
            [diags_array(by_temp), diags_array(by_alpha)],
        ], format="csc")  # fmt: skip

    start = np.concatenate([
        np.broadcast_to(start_k, n).astype(float), np.broadcast_to(start_conversion, n)
    ])  # fmt: skip
    found = solve_ivp(
        slope, (times_s[0], times_s[-1]), start, method="BDF", dense_output=True, jac=jacobian,
        rtol=rtol, atol=rtol * np.repeat([_ATOL_K, _ATOL], n),
    )  # fmt: skip
    if not found.success:
        raise ArithmeticError(f"the heat in the section could not be integrated: {found.message}")
    wanted = found.sol(times_s)
    return SectionHistory(times_s, wanted[:n].T, wanted[n:].T, found.t, found.y[:n].max(axis=0))
