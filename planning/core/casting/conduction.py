"""
Heat conduction with a reaction on a line of cells: slab, cylinder or sphere.

Cell-centred finite volumes. The unknowns are interleaved (temperature, conversion) so that the
Jacobian has two diagonals either side, and LSODA integrates the banded system. Many lanes, the
same cells with other figures, are integrated at once: each is a block of the band, and no heat
flows from block to block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.faces import HELD, INSULATED, Face
from planning.core.casting.system import Thermal

Array = NDArray[np.float64]

SHAPES = {"slab": 0, "cylinder": 1, "sphere": 2}


class Law(Protocol):
    """What a reaction must offer; see `planning.core.casting.kinetics.RateLaw`."""

    def rate(self, temp_k: Array, conversion: Array, out: Array) -> Array:
        """Write the rate, 1/s, into `out` and return it."""
        ...

    def slopes(self, temp_k: Array, conversion: Array) -> tuple[Array, Array]:
        """Return the slopes of the rate with temperature and with conversion."""
        ...


@dataclass(frozen=True)
class Grid:
    """Cells in a row, for one square metre of slab or one metre of radius-wise shell."""

    centres_m: Array
    """Shape (n,)."""
    conductances: Array
    """Shape (n+1,), W/K: between cells, and at either end to the surroundings."""
    capacities: Array
    """Shape (n,), J/K."""

    @property
    def cells(self) -> int:
        """How many cells there are."""
        return len(self.centres_m)


def slab(layers: Sequence[tuple[float, int, Thermal]], base: Face, top: Face) -> Grid:
    """
    Return a grid over layers stacked from the base upwards.

    Parameters
    ----------
    layers : sequence of (depth, cells, Thermal)
        Depth in m, number of equal cells, and heat properties of each layer.
    base, top : Face
        How the two outer faces lose heat.

    Returns
    -------
    Grid
        Per square metre.
    """
    width = np.concatenate([np.full(n, depth / n) for depth, n, _ in layers])
    k = np.concatenate([np.full(n, t.conductivity_w_mk) for _, n, t in layers])
    heat = np.concatenate(
        [np.full(n, t.density_kg_m3 * t.heat_capacity_j_kgk) for _, n, t in layers]
    )
    half = width / 2
    g = np.empty(len(width) + 1)
    g[1:-1] = 1 / (half[:-1] / k[:-1] + half[1:] / k[1:])
    g[0] = base.conductance_w_m2k(float(half[0]), float(k[0]))
    g[-1] = top.conductance_w_m2k(float(half[-1]), float(k[-1]))
    return Grid(np.cumsum(width) - half, g, heat * width)


def radial(shape: str, radius_m: float, cells: int, thermal: Thermal, outer: Face = HELD) -> Grid:
    """
    Return a grid from the centre (plane, axis or point) of a body outwards.

    Parameters
    ----------
    shape : str
        'slab', 'cylinder' or 'sphere'; for the slab `radius_m` is half the thickness.
    radius_m : float
        Distance from centre to surface, m.
    cells : int
        Number of equal shells.
    thermal : Thermal
        Heat properties.
    outer : Face
        How the surface loses heat.

    Returns
    -------
    Grid
        Per unit of area factor (1, r, r squared).

    Raises
    ------
    ValueError
        If the shape is unknown or a size is not positive.
    """
    if shape not in SHAPES:
        raise ValueError(f"shape is {shape!r}; it must be one of {', '.join(SHAPES)}")
    require.positive(radius_m=radius_m, cells=cells)
    j, k = SHAPES[shape], thermal.conductivity_w_mk
    edges = np.linspace(0.0, radius_m, cells + 1)
    width = radius_m / cells
    g = k * edges**j / width
    g[0] = INSULATED.film_w_m2k
    g[-1] = edges[-1] ** j * outer.conductance_w_m2k(width / 2, k)
    volumes = np.diff(edges ** (j + 1)) / (j + 1)
    capacities = volumes * thermal.density_kg_m3 * thermal.heat_capacity_j_kgk
    return Grid((edges[:-1] + edges[1:]) / 2, g, capacities)


@dataclass(frozen=True)
class History:
    """What `march` returns, each of shape (times, cells) but for the clock, shape (times,)."""

    times_s: Array
    temps_k: Array
    conversions: Array


def march(
    grid: Grid,
    law: Law,
    rise_k: Array | float,
    around_k: float,
    start_k: Array | float,
    start_conversion: Array | float,
    times_s: Array,
    *,
    base_k: float | None = None,
    rtol: float = 1e-6,
) -> History:
    """
    Integrate temperature and conversion from the first of `times_s` to the last.

    Parameters
    ----------
    grid : Grid
        Where the heat flows.
    law : Law
        Rate of conversion; sees all cells at once.
    rise_k : numpy.ndarray of float, shape (n,), or float
        Temperature rise of a cell that reacts fully and loses nothing, K; 0 for an inert layer.
    around_k : float
        Temperature of the surroundings at both ends, K.
    base_k : float, optional
        Temperature below the first cell, K, where it is another than above the last one.
    start_k, start_conversion : numpy.ndarray of float, shape (n,), or float
        State at the first time.
    times_s : numpy.ndarray of float, shape (m,)
        Rising times at which the state is wanted, s.
    rtol : float
        Relative tolerance of the integrator.

    Returns
    -------
    History
        State at every time asked.

    Raises
    ------
    ArithmeticError
        If the integrator gives up.

    Notes
    -----
    LSODA with bandwidth 2 and the Jacobian in band form, so the cost of a step grows with the
    number of cells and not with its cube.
    """
    n = grid.cells
    top = np.full((1, 1), around_k)
    base = top if base_k is None else np.full((1, 1), base_k)
    lanes = march_lanes(
        grid.conductances[None], grid.capacities[None], law, _row(rise_k, n),
        Around(np.zeros(1), base, top), _row(start_k, n), _row(start_conversion, n), times_s,
        rtol=rtol,
    )  # fmt: skip
    return History(np.asarray(times_s), lanes.temps_k[:, 0], lanes.conversions[:, 0])


def _row(values: Array | float, cells: int) -> Array:
    return np.broadcast_to(np.asarray(values, dtype=float), (1, cells))


@dataclass(frozen=True)
class Around:
    """Temperature of the surroundings of many lanes, straight between the moments given, K."""

    times_s: Array
    """Shape (m,), rising; before the first and after the last moment it stays."""
    base_k: Array
    """Shape (m, lanes)."""
    top_k: Array
    """Shape (m, lanes)."""

    def at(self, time_s: float, out: Array) -> None:
        """Write the temperatures below and above every lane into `out`, shape (2, lanes)."""
        i = int(np.searchsorted(self.times_s, time_s))
        if i == 0 or i == len(self.times_s):
            j = min(i, len(self.times_s) - 1)
            out[0], out[1] = self.base_k[j], self.top_k[j]
            return
        before, after = self.times_s[i - 1], self.times_s[i]
        share = (time_s - before) / (after - before)
        for row, side in zip(out, (self.base_k, self.top_k), strict=True):
            np.multiply(side[i] - side[i - 1], share, out=row)
            row += side[i - 1]
            if self.top_k is self.base_k:
                out[1] = row
                break


@dataclass(frozen=True)
class Lanes:
    """What `march_lanes` returns, each of shape (times, lanes, cells)."""

    temps_k: Array
    conversions: Array


def march_lanes(
    conductances: Array,
    capacities: Array,
    law: Law,
    rise_k: Array,
    around: Around,
    start_k: Array,
    start_conversion: Array,
    times_s: Array,
    *,
    rtol: float = 1e-6,
    longest_step_s: float = 0.0,
) -> Lanes:
    """
    Integrate many lanes at once, each with its own figures, in surroundings that vary in time.

    Parameters
    ----------
    conductances : numpy.ndarray of float, shape (lanes, n+1)
        As `Grid.conductances`.
    capacities, rise_k, start_k, start_conversion : numpy.ndarray of float, shape (lanes, n)
        As for `march`.
    law : Law
        Rate of conversion on shape (lanes, n).
    around : Around
        Temperatures at either end.
    times_s : numpy.ndarray of float, shape (m,)
        Rising times at which the state is wanted, s.
    rtol : float
        Relative tolerance of the integrator; of all lanes the one hardest to follow sets the step,
        and all take the same steps, so that differences between lanes are smooth.
    longest_step_s : float
        Longest step; 0 leaves it to the integrator, which may leap over a short warm spell.

    Returns
    -------
    Lanes
        State at every time asked.

    Raises
    ------
    ArithmeticError
        If the integrator gives up.
    """
    from scipy.integrate import odeint

    system = _Banded(conductances, capacities, law, rise_k, around)
    state = np.empty((*capacities.shape, 2))
    state[..., 0], state[..., 1] = start_k, start_conversion
    out, told = odeint(
        system.slope, state.ravel(), times_s, Dfun=system.jacobian, ml=2, mu=2,
        rtol=rtol, atol=rtol, hmax=longest_step_s, mxstep=20_000, full_output=True,
    )  # fmt: skip
    if told["message"] != "Integration successful.":
        raise ArithmeticError(f"the heat equation could not be integrated: {told['message']}")
    out = out.reshape(len(times_s), *capacities.shape, 2)
    return Lanes(out[..., 0], out[..., 1])


class _Banded:
    """Right-hand side and banded Jacobian, writing into arrays of their own."""

    def __init__(
        self, conductances: Array, capacities: Array, law: Law, rise_k: Array, around: Around
    ) -> None:
        lanes, n = capacities.shape
        self._law, self._rise, self._around = law, rise_k, around
        self._g, self._per_cell = conductances, 1 / capacities
        temps = np.empty((lanes, n + 2))  # one beyond either end, for the surroundings
        self._inside, self._above, self._below = temps[:, 1:-1], temps[:, 1:], temps[:, :-1]
        self._ends = temps.T[:: n + 1]
        self._flow, self._net = np.empty((lanes, n + 1)), np.empty((lanes, n))
        self._rate = np.empty((lanes, n))
        slope = np.empty((lanes, n, 2))
        self._slope, self._warming, self._curing = slope.ravel(), slope[..., 0], slope[..., 1]
        self._band = np.zeros((5, 2 * lanes * n))
        up, down = self._band[0, 0::2].reshape(lanes, n), self._band[4, 0::2].reshape(lanes, n)
        up[:, 1:] = self._g[:, 1:-1] * self._per_cell[:, :-1]
        down[:, :-1] = self._g[:, 1:-1] * self._per_cell[:, 1:]
        self._loss = (self._g[:, 1:] + self._g[:, :-1]) * self._per_cell

    def slope(self, state: Array, time_s: float) -> Array:
        inside, flow, net, warming = self._inside, self._flow, self._net, self._warming
        self._around.at(time_s, self._ends)
        state = state.reshape(*inside.shape, 2)
        inside[:] = state[..., 0]
        rate = self._law.rate(inside, state[..., 1], self._rate)
        np.subtract(self._above, self._below, flow)
        np.multiply(flow, self._g, flow)
        np.subtract(flow[:, 1:], flow[:, :-1], net)
        np.multiply(net, self._per_cell, net)
        np.multiply(rate, self._rise, warming)
        np.add(warming, net, warming)
        self._curing[:] = rate
        return self._slope

    def jacobian(self, state: Array, _time: float) -> Array:
        state = state.reshape(*self._inside.shape, 2)
        by_temp, by_conversion = self._law.slopes(state[..., 0].copy(), state[..., 1].copy())
        band = self._band
        band[2, 0::2] = (self._rise * by_temp - self._loss).ravel()
        band[2, 1::2] = by_conversion.ravel()
        band[1, 1::2] = (self._rise * by_conversion).ravel()
        band[3, 0::2] = by_temp.ravel()
        return band


def steady_rise_k(
    heating_w_m3: float, depth_m: float, conductivity_w_mk: float, base: Face, top: Face
) -> float:
    """
    Return the highest rise over the shop in a slab heated evenly and for ever, K.

    The steady profile is a parabola; this is its top, or its value at an insulated face.

    Raises
    ------
    ValueError
        If both faces are insulated (there is no steady state) or a figure is not positive.
    """
    require.positive(depth_m=depth_m, conductivity_w_mk=conductivity_w_mk)
    require.not_negative(heating_w_m3=heating_w_m3)
    if base.film_w_m2k == 0 and top.film_w_m2k == 0:
        raise ValueError("film_w_m2k is 0 W/m2K on both faces; one must be above 0 W/m2K")
    # Flow q x0 leaves through the base and q (L - x0) through the top; the rise is equal at x0.
    resist_base = 1 / base.film_w_m2k if base.film_w_m2k else float("inf")
    resist_top = 1 / top.film_w_m2k if top.film_w_m2k else float("inf")
    if base.film_w_m2k == 0 or top.film_w_m2k == 0:
        cold = resist_top if base.film_w_m2k == 0 else resist_base
        return heating_w_m3 * depth_m * (cold + depth_m / (2 * conductivity_w_mk))
    through = resist_base + resist_top + depth_m / conductivity_w_mk
    x0 = depth_m * (resist_top + depth_m / (2 * conductivity_w_mk)) / through
    return heating_w_m3 * x0 * (resist_base + x0 / (2 * conductivity_w_mk))
