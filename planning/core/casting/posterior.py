"""
What a lift's own readings say of its figures: the likeliest ones and how sure they are.

Every figure is a number z with mean 0 and spread 1 before anything is read. The readings in and on
the casting are compared with what the model predicts at that place; readings of air and oven are
in the room already.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import CORE, PouredLift, Reading
from planning.core.casting.lift_curve import known
from planning.core.casting.many_lifts import LaneFigures, Solved, solve_lanes
from planning.core.casting.room_modes import Room

Array = NDArray[np.float64]

SHEET_SPREADS, OWN_SPREADS = (0.15, 0.05), (0.05, 0.03)
"""Of rate and heat: of kinetics from elsewhere, and of those fitted to the shop's own pours. The
measured scatter of times is 9 %, of heat 4.8 % (DSC of two compounds); the rest is assumed."""
FAR_SPREADS = (0.37, 0.05)
"""Of kinetics far outside the records they were fitted to: so far apart were two such fits."""
_TOP_SPREAD, _BASE_SPREAD, _UNKNOWN_BASE_SPREAD = 0.32, 0.4, 1.2
_INSULATED_FILM, _USUAL_FILM = 0.3, 5.0
_MIX_READ_K, _MIX_UNREAD_K = 1.0, 5.0
_OFFSET_K, _PLACE_MM = 0.6, 3.0
"""One spread of sensors that are off by up to 1 K and sit up to 5 mm away, all as likely."""
_FIGURES = 5

_SCATTER_K, _FREEDOM = 0.5, 4.0
"""Student's t of the misses: a reading far off counts little. A logger scatters by 0.3 K, and
0.4 K are left for what the model does not follow."""
_BIN_H = 0.25
_TURNS, _LONGEST_TURN, _STILL = 6, 2.0, 0.02
_STEP = 0.2
_SEEN_K, _SEEN_TIMES, _HOTTER_K = 3.0, 2, 6.0
_FAR_OFF_K = 10.0
"""A record so far from all that the figures explain was typed in the wrong unit, or is of
something else. Assumed, no source."""
_HOT_SPARE_K = 20.0
_STRANGE = 3.5


@dataclass(frozen=True)
class Probe:
    """A sensor in or on the casting: hours and temperatures, at most one for each `_BIN_H`."""

    where: str
    height_mm: float
    hours: Array
    temps_c: Array
    weights: Array
    """One reading an hour counts in full; denser ones together count no more."""


@dataclass(frozen=True)
class Posterior:
    """The likeliest figures of a lift and their spread, in units of z."""

    lift: PouredLift
    room: Room
    probes: tuple[Probe, ...]
    z: Array
    spread: Array
    """Shape (figures, figures): lower triangle whose product with itself is the covariance."""
    heat_seen: bool
    hotter_read: bool = False
    """A reading in the body stands well above all that the figures explain."""
    far_off: bool = False
    """Most readings in the body are far from all that the figures explain."""

    @cached_property
    def covariance(self) -> Array:
        """Shape (figures, figures)."""
        product: Array = self.spread @ self.spread.T
        return product

    @cached_property
    def before(self) -> Array:
        """The likeliest figures before the body was read; the room as it is known."""
        own = len(self.z) - len(self.room.modes)
        return np.where(np.arange(len(self.z)) < own, 0.0, self.z)

    @property
    def strange(self) -> bool:
        """Whether no lift of the system is likely to be so."""
        own = len(self.z) - len(self.room.modes)
        return self.far_off or float(np.abs(self.z[:own]).max(initial=0.0)) > _STRANGE

    def draws(self, count: int) -> Array:
        """
        Return as many sets of figures as asked, the same ones every time.

        A Latin hypercube: each figure takes every part of its spread once, so that a share of
        the draws lies about as far out as that share of the spread (McKay, Beckman and Conover,
        1979).
        """
        normal, rng = NormalDist(), np.random.default_rng(20)
        parts = np.array([normal.inv_cdf((i + 0.5) / count) for i in range(count)])
        columns = [rng.permutation(parts) for _ in range(len(self.z))]
        drawn: Array = self.z + np.column_stack(columns) @ self.spread.T
        return drawn


def probes_of(lift: PouredLift) -> tuple[Probe, ...]:
    """Return the sensors of a lift's body, their readings gathered."""
    by_place: dict[tuple[str, float], list[Reading]] = {}
    for reading in lift.seen():
        if reading.in_body and reading.hour >= 0 and not too_hot(lift, reading):
            height = reading.height_mm
            if reading.where != CORE:
                height = lift.depth_mm
            elif height is None:
                height = lift.depth_mm / 2
            place = (reading.where, min(height, lift.depth_mm))
            by_place.setdefault(place, []).append(reading)
    return tuple(_probe(*place, rows) for place, rows in sorted(by_place.items()))


def too_hot(lift: PouredLift, reading: Reading) -> bool:
    """Say whether no casting of this system can have had a temperature."""
    warm = [c for c in (lift.mix_c, lift.mould_c, lift.base.around_c) if c is not None]
    hottest = max([lift.warmest_c, *warm, *(s.set_c for s in lift.stays)])
    hottest += known(lift.system)[1].adiabatic_rise_k + _HOT_SPARE_K
    return reading.in_body and not -30.0 <= reading.celsius <= hottest


def _probe(where: str, height_mm: float, rows: list[Reading]) -> Probe:
    bins: dict[int, list[Reading]] = {}
    for row in rows:
        bins.setdefault(int(row.hour // _BIN_H), []).append(row)
    hours = np.array([np.mean([r.hour for r in bins[b]]) for b in sorted(bins)])
    temps = np.array([np.median([r.celsius for r in bins[b]]) for b in sorted(bins)])
    in_hour = (np.abs(hours[:, None] - hours[None, :]) < 0.5).sum(axis=1)
    return Probe(where, height_mm, hours, temps, 1.0 / in_hour)


def _spreads(lift: PouredLift) -> tuple[float, float]:
    kinetics, _ = known(lift.system)
    if kinetics.beyond_records(lift.expected_c):
        return FAR_SPREADS
    return OWN_SPREADS if lift.calibrated else SHEET_SPREADS


def figures_of(lift: PouredLift, z: Array) -> LaneFigures:
    """Return the figures of lanes whose z is given, shape (lanes, figures)."""
    rate, heat = _spreads(lift)
    base = lift.base.film_w_m2k
    if not lift.base_known:
        films = _USUAL_FILM * np.exp(_UNKNOWN_BASE_SPREAD * z[:, 3])
    elif base < _INSULATED_FILM:
        films = base + _INSULATED_FILM * np.maximum(z[:, 3], 0.0)
    else:
        films = min(base, 1e4) * np.exp(_BASE_SPREAD * z[:, 3])
    mix = lift.expected_c if lift.mix_c is None else lift.mix_c
    held_c = np.nan if lift.base.around_c is None else lift.base.around_c
    return LaneFigures(
        rate=np.exp(rate * z[:, 0]),
        heat=np.exp(heat * z[:, 1]),
        top_film=min(max(lift.top.film_w_m2k, _INSULATED_FILM), 1e4)
        * np.exp(_TOP_SPREAD * z[:, 2]),
        base_film=films,
        mix_c=mix + (_MIX_UNREAD_K if lift.mix_c is None else _MIX_READ_K) * z[:, 4],
        base_c=np.full(len(z), held_c),
    )


def room_lanes(room: Room, z: Array) -> Array:
    """Return the room of lanes whose z is given, shape (hours, lanes)."""
    return room.lanes(z[:, z.shape[1] - len(room.modes) :])


def posterior(lift: PouredLift, room: Room) -> Posterior:
    """
    Return what is known of a lift after its body's readings.

    Notes
    -----
    A lift so fitted that it is unlike any of its system had a sensor that came out, or another
    lift's: the readings before the steepest fall are tried, then none of the body's.

    Damped Gauss-Newton on misses weighted by Student's t and on z itself; the spread is that of
    the linearised problem at its end. Forward differences, all in one solve for each turn.
    """
    probes = probes_of(lift)
    found = _fitted(lift, room, probes)
    return until_fall(lift, room) if found.strange else found


def until_fall(lift: PouredLift, room: Room) -> Posterior:
    """Return what is known from what was read before each sensor's steepest fall, or nothing."""
    found = _fitted(lift, room, tuple(_until_fall(probe) for probe in probes_of(lift)))
    return _fitted(lift, room, ()) if found.strange or found.hotter_read else found


def _until_fall(probe: Probe) -> Probe:
    """Return a probe's readings before its steepest fall, where it may have come out."""
    if len(probe.hours) < 2:
        return probe
    falls = np.diff(probe.temps_c) / np.diff(probe.hours)
    kept = slice(0, int(falls.argmin()) + 1)
    return replace(
        probe, hours=probe.hours[kept], temps_c=probe.temps_c[kept], weights=probe.weights[kept]
    )


def _fitted(lift: PouredLift, room: Room, probes: tuple[Probe, ...]) -> Posterior:
    count = _FIGURES + 2 * len(probes) + len(room.modes)
    if not probes:
        return Posterior(lift, room, (), np.zeros(count), np.eye(count), False)
    z, best, normal = np.zeros(count), np.inf, np.eye(count)
    trial = z
    for _ in range(_TURNS):
        misses, slopes, inert = _misses(lift, room, probes, trial)
        cost = _cost(misses, probes, trial)
        if cost > best + 1e-9:
            trial = (z + trial) / 2
            continue
        moved = float(np.abs(trial - z).max()) if np.isfinite(best) else np.inf
        z, best, seen = trial, cost, inert
        hotter = bool((misses < -_HOTTER_K).any())
        far_off = float(np.median(np.abs(misses))) > _FAR_OFF_K
        weights = _weights(misses, probes)
        normal = np.eye(count) + slopes.T @ (weights[:, None] * slopes)
        if moved < _STILL:
            break
        step = np.linalg.solve(normal, -(slopes.T @ (weights * misses)) - z)
        step *= min(1.0, _LONGEST_TURN / max(float(np.abs(step).max()), 1e-12))
        if float(np.abs(step).max()) < _STILL / 4:
            break
        trial = z + step
    spread = np.linalg.cholesky(np.linalg.inv(normal))
    return Posterior(lift, room, probes, z, spread, seen, hotter, far_off)


def _misses(
    lift: PouredLift, room: Room, probes: tuple[Probe, ...], z: Array
) -> tuple[Array, Array, bool]:
    """Return measured less computed with its slopes, and whether the body's heat was seen."""
    count = len(z)
    steps = np.vstack([np.zeros(count), _STEP * np.eye(count), np.zeros(count)])
    lanes = z + steps
    # What a lift of no heat would show at most: a warm mix and a sensor that reads high count.
    kept = [4, *range(_FIGURES, count - len(room.modes), 2)]
    lanes[-1, : count - len(room.modes)] = 0.0
    lanes[-1, kept] = np.maximum(z[kept], 0.0)
    figures = figures_of(lift, lanes)
    figures.heat[-1] = 0.0
    last = max(float(p.hours[-1]) for p in probes)
    hours = np.unique(np.concatenate([[0.0], *(p.hours for p in probes)]))
    if len(hours) == 1:
        hours = np.array([0.0, max(last, 0.01)])
    solved = solve_lanes(
        lift.system, lift.depth_mm, figures, room.hours, room_lanes(room, lanes), hours
    )
    found = np.concatenate([
        _read(solved, probe, lanes[:, _FIGURES + 2 * i], lanes[:, _FIGURES + 2 * i + 1])
        for i, probe in enumerate(probes)
    ])  # fmt: skip
    measured = np.concatenate([p.temps_c for p in probes])
    misses = found - measured[:, None]
    slopes = (misses[:, 1:-1] - misses[:, :1]) / _STEP
    with_heat = np.abs(misses[:, 0]) < np.abs(misses[:, -1])
    seen = with_heat & (measured - found[:, -1] > _SEEN_K)
    return misses[:, 0], slopes, int(seen.sum()) >= _SEEN_TIMES


def _read(solved: Solved, probe: Probe, offset: Array, place: Array) -> Array:
    """Return what a probe would read, shape (readings, lanes)."""
    rows = np.searchsorted(solved.hours, probe.hours)
    temps = solved.temps_c[rows]
    shift = _PLACE_MM * place if probe.where == CORE else np.zeros(len(place))
    heights = np.clip(probe.height_mm + shift, 0.0, solved.heights_mm[-1])
    above = np.clip(np.searchsorted(solved.heights_mm, heights), 1, len(solved.heights_mm) - 1)
    span = solved.heights_mm[above] - solved.heights_mm[above - 1]
    share = (heights - solved.heights_mm[above - 1]) / span
    lanes = np.arange(len(place))
    at: Array = (1 - share) * temps[:, lanes, above - 1] + share * temps[:, lanes, above]
    return at + _OFFSET_K * offset


def _all_weights(probes: tuple[Probe, ...]) -> Array:
    return np.concatenate([p.weights for p in probes])


def _weights(misses: Array, probes: tuple[Probe, ...]) -> Array:
    robust = (_FREEDOM + 1) / (_FREEDOM + (misses / _SCATTER_K) ** 2)
    weights: Array = _all_weights(probes) * robust / _SCATTER_K**2
    return weights


def _cost(misses: Array, probes: tuple[Probe, ...], z: Array) -> float:
    logs = (_FREEDOM + 1) / 2 * np.log1p((misses / _SCATTER_K) ** 2 / _FREEDOM)
    return float(_all_weights(probes) @ logs + z @ z / 2)
