"""Cure clock: when a casting may be demoulded, by the temperatures it really had; post-cure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from planning.core.casting import require
from planning.core.casting.arrhenius import equivalent_age, time_at_age
from planning.core.casting.stricter import Limit, greatest
from planning.core.casting.system import SystemData

_STALLED_H = 60 * 24.0
_CLOSE_H = 0.25
"""Between points so close the conversion is as good as straight."""


@dataclass(frozen=True)
class CureClock:
    """Where a casting stands and when it is due, in hours from pouring."""

    age_h: float | None
    """Equivalent age at the datasheet's temperature so far; None without a datasheet time."""
    need_h: float | None
    """Age asked, at the datasheet's temperature."""
    conversion: float | None
    """Reached so far; None without kinetics."""
    need_conversion: float | None
    tg_c: float | None
    """Glass transition now."""
    due_h: Limit
    """The later of the two clocks. Its value is None when it stalls (basis 'computed') or when
    neither clock can be read (basis 'unknown')."""
    stalls: bool
    """By the kinetics the cure stalls before it is done at the temperature expected."""


def cure_clock(
    system: SystemData, times_h: Sequence[float], temps_c: Sequence[float], then_c: float
) -> CureClock:
    """
    Return when a casting may be demoulded.

    Parameters
    ----------
    system : SystemData
        Its demould time, kinetics, or both.
    times_h : sequence of float, shape (n,)
        Hours from pouring, rising; the first is normally 0.
    temps_c : sequence of float, shape (n,)
        Temperatures logged then, C. Those of the shop give a late, those of the core an early
        answer; use what the coldest part of the casting feels.
    then_c : float
        Temperature expected after the last reading, C.

    Returns
    -------
    CureClock
        It moves as the record grows.

    Raises
    ------
    ValueError
        If the record is empty, its times do not rise or a temperature is out of range.

    Notes
    -----
    Equivalent age assumes no stall, and one activation energy: the system's own, or of a careful
    pair the one by which it takes longer. Where the system has kinetics the
    conversion asked is `demould_conversion`, else the one its own datasheet demould time implies
    at the datasheet's temperature.
    """
    require.temperature(then_c=then_c)
    point = system.datasheet.demould
    age_h = need_h = by_age_h = None
    if point is not None:
        need_h = point.minutes / 60
        energies = system.energies_j_mol
        age_h = min(equivalent_age(times_h, temps_c, point.temp_c, e)[-1] for e in energies)
        by_age_h = max(
            time_at_age(need_h, times_h, temps_c, then_c, point.temp_c, e) for e in energies
        )
    conversion, need = None, demould_conversion(system)
    by_cure_h, stalls = None, False
    if system.kinetics is not None:
        if point is None:  # the record has not been looked at yet
            equivalent_age(times_h, temps_c, then_c)
        conversion, by_cure_h, stalls = _by_kinetics(system, times_h, temps_c, then_c, need)
    return CureClock(
        age_h=age_h,
        need_h=need_h,
        conversion=conversion,
        need_conversion=need,
        tg_c=_tg(system, conversion),
        # A clock that never gets there is the stricter of the two, whatever the other says.
        due_h=Limit(None, "computed", by_age_h, None) if stalls else greatest(by_age_h, by_cure_h),
        stalls=stalls,
    )


def demould_conversion(system: SystemData) -> float | None:
    """Return the conversion at which a casting may be demoulded, stated or implied."""
    if system.kinetics is None:
        return None
    if system.demould_conversion is not None:
        return system.demould_conversion
    if system.datasheet.demould is None:
        return None
    from planning.core.casting.kinetics import conversion_along

    point = system.datasheet.demould
    path = conversion_along(system.kinetics, [0.0, 60 * point.minutes], [point.temp_c] * 2)
    return float(path[-1])


def demould_min(system: SystemData, shop_c: float) -> Limit:
    """Return the time to demould at one temperature, min: the later of datasheet and kinetics."""
    return cure_clock(system, [0.0], [shop_c], shop_c).due_h.times(60)


@dataclass(frozen=True)
class PostCureStep:
    """Ramp to a temperature, then hold it."""

    to_c: float
    rate_c_h: float
    soak_min: float

    def __post_init__(self) -> None:
        require.temperature(to_c=self.to_c)
        require.within(-50.0, 300.0, to_c=self.to_c)
        require.positive(rate_c_h=self.rate_c_h)
        require.not_negative(soak_min=self.soak_min)


@dataclass(frozen=True)
class Stage:
    """A ramp or a soak, hours on the caller's clock."""

    kind: str
    from_h: float
    to_h: float
    from_c: float
    to_c: float


@dataclass(frozen=True)
class PostCure:
    """A post-cure laid out in time, and what it leads to where that can be computed."""

    stages: tuple[Stage, ...]
    ends_h: float
    conversion: float | None
    tg_c: float | None
    service_ok: bool | None
    """Whether Tg ends at or above the service temperature wanted; None when not computable."""
    softens_at_h: float | None
    """First time the oven is more than the margin above Tg, so the casting may sag."""


def post_cure(
    system: SystemData,
    steps: Sequence[PostCureStep],
    *,
    start_h: float = 0.0,
    start_c: float = 23.0,
    start_conversion: float = 0.0,
    service_c: float | None = None,
    soft_margin_k: float = 10.0,
) -> PostCure:
    """
    Lay a post-cure out in time and follow the cure through it.

    Parameters
    ----------
    system : SystemData
        Conversion needs its kinetics, Tg its glass transition as well.
    steps : sequence of PostCureStep
        In order.
    start_h, start_c : float
        Clock and temperature at the start.
    start_conversion : float
        Conversion the casting has then.
    service_c : float, optional
        Service temperature wanted, C; the system's own when left out.
    soft_margin_k : float
        How far the oven may be above Tg before the casting is called soft. Assumed, no source.

    Returns
    -------
    PostCure
        Stages with clock times, and the state at the end.

    Raises
    ------
    ValueError
        If there is no step or a figure is out of range.
    """
    if not steps:
        raise ValueError("a post-cure needs at least one step")
    stages = _stages(steps, start_h, start_c)
    ends_h = stages[-1].to_h
    if system.kinetics is None:
        return PostCure(stages, ends_h, None, None, None, None)
    hours, temps_c = _sampled(stages)
    from planning.core.casting.kinetics import conversion_along

    path = conversion_along(
        system.kinetics, [3600 * (h - start_h) for h in hours], temps_c, start_conversion
    )
    tgs = [_tg(system, float(a)) for a in path]
    soft = (h for h, t, tg in zip(hours, temps_c, tgs, strict=True)
            if tg is not None and t > tg + soft_margin_k)  # fmt: skip
    wanted, tg_c = system.service_c if service_c is None else service_c, tgs[-1]
    service_ok = None if tg_c is None or wanted is None else tg_c >= wanted
    return PostCure(stages, ends_h, float(path[-1]), tg_c, service_ok, next(soft, None))


def _by_kinetics(
    system: SystemData,
    times_h: Sequence[float],
    temps_c: Sequence[float],
    then_c: float,
    need: float | None,
) -> tuple[float, float | None, bool]:
    from planning.core.casting.kinetics import conversion_along, rate_at, time_to_conversion_s

    kinetics = system.kinetics
    assert kinetics is not None
    times_h, temps_c = _close(times_h, temps_c)
    path = conversion_along(kinetics, [3600 * h for h in times_h], temps_c)
    now = float(path[-1])
    if need is None:
        return now, None, False
    if now < need:
        more_s = time_to_conversion_s(lambda a: rate_at(kinetics, then_c, a), now, need)
        if not more_s < _STALLED_H * 3600:
            return now, None, True
        return now, times_h[-1] + more_s / 3600, False
    i = next(i for i, a in enumerate(path) if a >= need)
    if i == 0:
        return now, times_h[0], False
    share = (need - float(path[i - 1])) / float(path[i] - path[i - 1])
    return now, times_h[i - 1] + share * (times_h[i] - times_h[i - 1]), False


def _close(times_h: Sequence[float], temps_c: Sequence[float]) -> tuple[list[float], list[float]]:
    """
    Return a record with points at most `_CLOSE_H` apart, the temperature linear in between.

    Conversion slows down as it goes, so that a straight line across a long interval would read
    the time of a conversion hours too late, and the conversion itself too low.
    """
    hours, temps = [times_h[0]], [temps_c[0]]
    for i in range(1, len(times_h)):
        span = times_h[i] - times_h[i - 1]
        parts = max(1, math.ceil(span / _CLOSE_H))
        for n in range(1, parts):
            hours.append(times_h[i - 1] + span * n / parts)
            temps.append(temps_c[i - 1] + (temps_c[i] - temps_c[i - 1]) * n / parts)
        hours.append(times_h[i])
        temps.append(temps_c[i])
    return hours, temps


def _tg(system: SystemData, conversion: float | None) -> float | None:
    if system.glass is None or conversion is None:
        return None
    from planning.core.casting.kinetics import glass_transition_c

    return glass_transition_c(system.glass, min(1.0, max(0.0, conversion)))


def _stages(steps: Sequence[PostCureStep], start_h: float, start_c: float) -> tuple[Stage, ...]:
    stages: list[Stage] = []
    clock, temp_c = start_h, start_c
    for step in steps:
        if step.to_c != temp_c:
            end = clock + abs(step.to_c - temp_c) / step.rate_c_h
            stages.append(Stage("ramp", clock, end, temp_c, step.to_c))
            clock, temp_c = end, step.to_c
        if step.soak_min:
            end = clock + step.soak_min / 60
            stages.append(Stage("soak", clock, end, temp_c, temp_c))
            clock = end
    if not stages:
        raise ValueError("the post-cure lasts 0 min; give a ramp or a soak")
    return tuple(stages)


def _sampled(stages: Sequence[Stage]) -> tuple[list[float], list[float]]:
    hours, temps_c = [stages[0].from_h], [stages[0].from_c]
    for stage in stages:
        parts = max(1, math.ceil((stage.to_h - stage.from_h) * 6))
        for i in range(1, parts + 1):
            hours.append(stage.from_h + (stage.to_h - stage.from_h) * i / parts)
            temps_c.append(stage.from_c + (stage.to_c - stage.from_c) * i / parts)
    return hours, temps_c
