"""
Random lifts as they "really" were, solved by code that shares nothing with the product's.

Nodes at the faces (the product's cells are centred), an own rate law written out from the formula,
a general-purpose stiff solver. The room is a sum of what happens in shops: cold nights, heating
off, hot afternoons.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

R = 8.314462618
NODES = 25
LAW = {
    "A1": 1.9324e4, "E1": 52.0e3, "A2": 4599.5, "E2": 50.0e3, "m": 1.0, "n": 1.8,
    "C": 30.0, "ac0": -0.25, "acT": 0.0036,
}  # fmt: skip
DENSITY, HEAT_CAPACITY, CONDUCTIVITY, HEAT = 1700.0, 1290.0, 0.80, 0.417 * 350e3
TG0, TG1, LAM = -20.0, 88.0, 0.45
GEL, BOND, NEED, MARGIN_K, HAND_C = 0.577, 0.75, 0.70, 5.0, 43.0
LONGEST_H = 200.0


@dataclass(frozen=True)
class Truth:
    """One lift with all that is true of it; hours from pouring."""

    depth_mm: float
    base_kind: str
    base_film: float
    top_film: float
    mix_c: float
    rate: float
    heat: float
    room_c: np.ndarray
    """Every tenth of an hour."""
    expected_c: float
    night_c: float
    oven: tuple[float, float, float] | None
    hours: np.ndarray
    temps_c: np.ndarray
    """Shape (times, nodes)."""
    gelled_h: float
    bonds_h: float
    peak_h: float
    peak_c: float
    demould_h: float

    def around_c(self, hour: float) -> float:
        return around(self.room_c, self.oven, hour)

    def at(self, hour: float, height_mm: float) -> float:
        i = min(int(np.searchsorted(self.hours, hour)), len(self.hours) - 1)
        heights = np.linspace(0.0, self.depth_mm, NODES)
        before = max(i - 1, 0)
        rows = [float(np.interp(height_mm, heights, self.temps_c[j])) for j in (before, i)]
        return float(np.interp(hour, [self.hours[before], self.hours[i] + 1e-9], rows))


def around(room_c: np.ndarray, oven: tuple[float, float, float] | None, hour: float) -> float:
    if oven is not None and oven[0] <= hour < oven[1]:
        return oven[2]
    place = max(hour, 0.0) * 10
    i = min(int(place), len(room_c) - 2)
    share = min(place - i, 1.0)
    return float(room_c[i] * (1 - share) + room_c[i + 1] * share)


def rate(temp_k: np.ndarray, a: np.ndarray, speed: float) -> np.ndarray:
    a = np.clip(a, 0.0, 1.0)
    k1 = LAW["A1"] * np.exp(-LAW["E1"] / (R * temp_k))
    k2 = LAW["A2"] * np.exp(-LAW["E2"] / (R * temp_k))
    stalled = np.clip(LAW["C"] * (a - LAW["ac0"] - LAW["acT"] * temp_k), -200, 200)
    return speed * (k1 + k2 * a ** LAW["m"]) * (1 - a) ** LAW["n"] / (1 + np.exp(stalled))


def random_room(rng: np.random.Generator) -> tuple[np.ndarray, float, float]:
    """Return a room every tenth of an hour, the temperature expected of it, a night minimum."""
    hours = np.arange(0.0, LONGEST_H + 0.2, 0.1)
    day_c, start = rng.uniform(16, 26), rng.uniform(6, 18)
    clock = (start + hours) % 24
    aim = np.full(len(hours), day_c)
    kind = rng.choice(["steady", "nights", "off", "hot"], p=[0.25, 0.4, 0.2, 0.15])
    if kind == "nights":
        aim[(clock >= rng.uniform(17, 22)) | (clock < rng.uniform(5, 7))] -= rng.uniform(2, 10)
    if kind == "off":
        begins, lasts = rng.uniform(0, 24), rng.uniform(8, 40)
        aim[(hours >= begins) & (hours < begins + lasts)] -= rng.uniform(4, 12)
    if kind == "hot":
        aim += rng.uniform(4, 9) * np.clip(np.sin((clock - 9) / 24 * 2 * np.pi), 0, 1)
    room, lag = np.empty(len(hours)), rng.uniform(1.5, 5.0)
    room[0] = aim[0]
    for i in range(1, len(hours)):
        room[i] = room[i - 1] + (aim[i] - room[i - 1]) * 0.1 / lag
    room = room + 0.3 * np.sin(hours * rng.uniform(1, 4))
    night_c = float(np.floor(room.min()) - rng.choice([0, 1, 2]))
    return room, float(day_c + rng.normal(0, 1.0)), night_c


def random_truth(rng: np.random.Generator, rate_spread: float, heat_spread: float) -> Truth:
    """Draw a lift and solve it."""
    room, expected_c, night_c = random_room(rng)
    base_kind = str(rng.choice(["foam", "board", "metal"]))
    films = {"foam": rng.uniform(0, 0.4), "board": 5 * math.exp(rng.normal(0, 0.25)),
             "metal": 50 * math.exp(rng.normal(0, 0.3))}  # fmt: skip
    depth, top, mix = rng.uniform(10, 90), rng.uniform(4, 12), rng.uniform(18, 35)
    speed, heat = math.exp(rng.normal(0, rate_spread)), math.exp(rng.normal(0, heat_spread))
    oven = None
    if rng.random() < 0.12:
        begins = rng.uniform(1, 12)
        oven = (begins, begins + rng.uniform(4, 12), rng.uniform(35, 60))
    hours, temps, cure = solve(depth, films[base_kind], top, mix, speed, heat, room, oven)
    hottest, least = temps.max(axis=1), cure.min(axis=1)
    share = LAM * cure / (1 - (1 - LAM) * cure)
    tg = TG0 + (TG1 - TG0) * share
    fit = (
        (least >= NEED) & ((tg - MARGIN_K - temps).min(axis=1) >= 0)
        & (np.maximum(temps[:, 0], temps[:, -1]) <= HAND_C)
    )  # fmt: skip
    if oven is not None and oven[2] >= HAND_C - 2:
        fit &= hours >= oven[1]
    gelled = _first(hours, least >= GEL)
    upto = max(2, int(np.searchsorted(hours, _first(hours, least >= NEED))))
    cooled = int(hottest[: max(2, int(np.searchsorted(hours, gelled)))].argmin())
    top_i = cooled + int(hottest[cooled : max(upto, cooled + 2)].argmax())
    return Truth(
        depth, base_kind, films[base_kind], top, mix, speed, heat, room, expected_c, night_c, oven,
        hours, temps, gelled, _first(hours, cure[:, -1] >= BOND),
        float(hours[top_i]), float(hottest[top_i]), _first(hours, fit),
    )  # fmt: skip


def solve(depth_mm, base, top, mix_c, speed, heat, room, oven):
    """Return hours, temperatures in C and conversions, face nodes included."""
    dx = depth_mm / 1000 / (NODES - 1)
    mass = DENSITY * HEAT_CAPACITY * np.full(NODES, dx)
    mass[[0, -1]] /= 2
    rise = HEAT * heat / HEAT_CAPACITY

    def slope(t, y):
        temp, a = y[0::2], y[1::2]
        air = around(room, oven, t / 3600) + 273.15
        flow = CONDUCTIVITY * np.diff(temp) / dx
        net = np.zeros(NODES)
        net[:-1] += flow
        net[1:] -= flow
        net[0] += base * (air - temp[0])
        net[-1] += top * (air - temp[-1])
        grow = rate(temp, a, speed)
        out = np.empty(2 * NODES)
        out[0::2], out[1::2] = net / mass + rise * grow, grow
        return out

    state = np.empty(2 * NODES)
    state[0::2], state[1::2] = mix_c + 273.15, 0.0
    hours, parts, begin = [], [], 0.0
    cuts = sorted({0.0, *(oven[:2] if oven else ()), 40.0, 100.0, LONGEST_H})
    for begin, end in pairwise(cuts):
        at = np.arange(begin, end + 1e-9, 0.05)
        found = solve_ivp(
            slope, (begin * 3600, end * 3600), state, method="LSODA", t_eval=at * 3600,
            lband=2, uband=2, rtol=1e-6, atol=1e-6, max_step=1800,
        )  # fmt: skip
        assert found.success, found.message
        state = found.y[:, -1]
        hours.append(at[: found.y.shape[1]])
        parts.append(found.y.T)
        done = parts[-1][-1, 1::2].min() > 0.8
        if done and end >= 40.0 and (oven is None or end > oven[1] + 20):
            break
    y, clock = np.concatenate(parts), np.concatenate(hours)
    return clock, y[:, 0::2] - 273.15, y[:, 1::2]


def _first(hours: np.ndarray, true: np.ndarray) -> float:
    return float(hours[true.argmax()]) if true.any() else math.inf
