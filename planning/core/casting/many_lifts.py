"""One poured lift solved many times at once, each lane with other figures and another room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.arrhenius import KELVIN
from planning.core.casting.conduction import Around, march_lanes
from planning.core.casting.kinetics import RateLaw
from planning.core.casting.lift_curve import known
from planning.core.casting.system import SystemData

Array = NDArray[np.float64]

CELLS = 14
"""Peaks within 0.1 K and times within a minute of 60 cells on filled lifts of 10 to 90 mm."""
_TO_FACE = np.array([15.0, -10.0, 3.0]) / 8
"""Carries the three cells next to a face on to it along a parabola."""
_RTOL = 1e-5
_COARSE_CELLS, _COARSE_RTOL = 10, 1e-4
"""Times within 0.2 % of the finer ones."""
_LONGEST_STEP_S = 3600.0
_LEAST_FILM = 1e-6


@dataclass(frozen=True)
class LaneFigures:
    """What differs from lane to lane; each of shape (lanes,)."""

    rate: Array
    """Factor on the rate law."""
    heat: Array
    """Factor on the heat of cure."""
    top_film: Array
    base_film: Array
    """W/m2K."""
    mix_c: Array
    base_c: Array
    """What is held below the base, C; not a number where that is the room."""

    def __len__(self) -> int:
        return len(self.rate)


@dataclass(frozen=True)
class Solved:
    """Lanes over time: temperatures in C and conversions, cells from the base up."""

    hours: Array
    """Shape (times,)."""
    temps_c: Array
    """Shape (times, lanes, cells + 2): base face, cells, top face."""
    conversions: Array
    """Shape (times, lanes, cells + 2); on the faces carried on straight from the cells."""
    heights_mm: Array
    """Shape (cells + 2,)."""

    def after(self, other: Solved) -> Solved:
        """Return `other` with this one after it."""
        return Solved(
            np.concatenate([other.hours, self.hours[1:]]),
            np.concatenate([other.temps_c, self.temps_c[1:]]),
            np.concatenate([other.conversions, self.conversions[1:]]),
            self.heights_mm,
        )


def solve_lanes(
    system: SystemData,
    depth_mm: float,
    figures: LaneFigures,
    room_hours: Array,
    room_c: Array,
    hours: Array,
    start: Solved | None = None,
    *,
    coarse: bool = False,
) -> Solved:
    """
    Solve one lift in many lanes.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    depth_mm : float
        Depth of the lift, mm.
    figures : LaneFigures
        What differs between the lanes.
    room_hours : numpy.ndarray of float, shape (m,)
        When `room_c` holds, hours from pouring; straight in between.
    room_c : numpy.ndarray of float, shape (m, lanes)
        Surroundings of both faces; of the base where nothing else is held below it.
    hours : numpy.ndarray of float, shape (times,)
        Rising hours at which the state is wanted; the first is the start.
    start : Solved, optional
        Go on from the end of this; from pouring when left out.
    coarse : bool
        With fewer cells and wider tolerance; the same for `start`.

    Returns
    -------
    Solved
        At every hour asked.

    Raises
    ------
    ArithmeticError
        If the integrator gives up.
    """
    kinetics, _ = known(system)
    lanes = len(figures)
    if start is None:
        cells = _COARSE_CELLS if coarse else CELLS
        temps = np.repeat(figures.mix_c[:, None], cells, axis=1)
        conversions = np.full((lanes, cells), kinetics.start_conversion)
    else:
        temps, conversions = start.temps_c[-1, :, 1:-1], start.conversions[-1, :, 1:-1]
    return go_on(
        system, depth_mm, figures, room_hours, room_c, hours, temps, conversions,
        rtol=_COARSE_RTOL if coarse else _RTOL,
    )  # fmt: skip


def go_on(
    system: SystemData,
    depth_mm: float,
    figures: LaneFigures,
    room_hours: Array,
    room_c: Array,
    hours: Array,
    temps_c: Array,
    conversions: Array,
    *,
    rtol: float = _RTOL,
) -> Solved:
    """
    Solve lanes on from a state, `temps_c` and `conversions` of shape (lanes, cells).

    The rest as for `solve_lanes`; `depth_mm` is that of all the cells, which are equally deep.
    """
    kinetics, thermal = known(system)
    lanes, cells = temps_c.shape
    width = depth_mm / 1000 / cells
    inner = thermal.conductivity_w_mk / width
    base, top = (np.maximum(f, _LEAST_FILM) for f in (figures.base_film, figures.top_film))
    conductances = np.full((lanes, cells + 1), inner)
    conductances[:, 0], conductances[:, -1] = (
        1 / (1 / film + 0.5 / inner) for film in (base, top)
    )
    heat = thermal.density_kg_m3 * thermal.heat_capacity_j_kgk * width
    rise = thermal.adiabatic_rise_k * figures.heat
    room_k = np.ascontiguousarray(room_c) + KELVIN
    held = np.isfinite(figures.base_c)
    base_k = np.where(held, figures.base_c + KELVIN, room_k) if held.any() else room_k
    out = march_lanes(
        conductances, np.full((lanes, cells), heat), RateLaw(kinetics, lanes, cells, figures.rate),
        np.repeat(rise[:, None], cells, axis=1), Around(room_hours * 3600, base_k, room_k),
        temps_c + KELVIN, conversions, hours * 3600, rtol=rtol, longest_step_s=_LONGEST_STEP_S,
    )  # fmt: skip
    around = np.array([at_hour(h, room_hours, room_c) for h in hours.tolist()])
    return _with_faces(
        hours, out.temps_k - KELVIN, out.conversions,
        (np.where(held, figures.base_c, around), around), (base, top), inner, depth_mm,
    )  # fmt: skip


def _with_faces(
    hours: Array,
    temps: Array,
    conversions: Array,
    around: tuple[Array, Array],
    films: tuple[Array, Array],
    inner: float,
    depth_mm: float,
) -> Solved:
    half, (base, top) = 2 * inner, films
    low = (half * temps[..., 0] + base * around[0]) / (half + base)
    high = (half * temps[..., -1] + top * around[1]) / (half + top)
    edges = [
        np.clip(np.tensordot(conversions[..., near], _TO_FACE, axes=([-1], [0])), 0.0, 1.0)
        for near in ([0, 1, 2], [-1, -2, -3])
    ]
    cells = temps.shape[-1]
    middles = (np.arange(cells) + 0.5) * depth_mm / cells
    return Solved(
        hours,
        np.concatenate([low[..., None], temps, high[..., None]], axis=-1),
        np.concatenate([edges[0][..., None], conversions, edges[1][..., None]], axis=-1),
        np.concatenate([[0.0], middles, [depth_mm]]),
    )


def at_hour(hour: float, hours: Array, values: Array) -> Array:
    """Return the row of `values`, shape (hours, lanes), at an hour, straight in between."""
    i = int(np.searchsorted(hours, hour))
    if i == 0 or i == len(hours):
        row: Array = values[min(i, len(hours) - 1)]
        return row
    share = (hour - hours[i - 1]) / (hours[i] - hours[i - 1])
    between: Array = (1 - share) * values[i - 1] + share * values[i]
    return between
