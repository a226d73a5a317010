"""Whether a temperature that somebody types can be so, or is to be asked about first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

USUAL_C = {"air": (5.0, 40.0), "oven": (20.0, 180.0), "surface": (5.0, 130.0),
           "core": (5.0, 150.0)}  # fmt: skip
"""What a casting shop reads on a usual day, C. A room in Fahrenheit is above 40. Common practice,
no source."""
JUMP_K = {"air": (6.0, 4.0), "oven": (20.0, 120.0), "surface": (15.0, 60.0),
          "core": (15.0, 60.0)}  # fmt: skip
"""What may lie between two readings: so many K at once, and so many more each hour. Common
practice, no source."""
FROM_EXPECTED_K = 12.0
"""A room is seldom farther from the temperature expected. Common practice, no source."""
OVER_CAP_K = 10.0
"""Above a system's own limit by so much, a casting is burning or the reading is wrong."""
NAMES = {"air": "The shop's air", "oven": "An oven", "surface": "The surface of a casting",
         "core": "The core of a casting"}  # fmt: skip


@dataclass(frozen=True)
class Near:
    """Another reading of the same sensor place: how many hours away, at what temperature."""

    hours: float
    celsius: float


def from_fahrenheit(fahrenheit: float) -> float:
    """Return degrees Celsius; exact by definition."""
    return (fahrenheit - 32.0) / 1.8


def usual_mix_c(expected_c: float, planned_c: float | None) -> tuple[float, float]:
    """Return between which temperatures a mix usually is, in a shop and as planned, C."""
    known = [expected_c, *([] if planned_c is None else [planned_c])]
    return min(known) - FROM_EXPECTED_K, max(known) + FROM_EXPECTED_K


def mix_question(celsius: float, expected_c: float, planned_c: float | None) -> str | None:
    """Return what to ask before the temperature of a mix is believed; None where it is usual."""
    low, high = usual_mix_c(expected_c, planned_c)
    if low <= celsius <= high:
        return None
    words = f"A mix is {low:g} to {high:g} °C here; this is {celsius:.1f} °C."
    if low <= from_fahrenheit(celsius) <= high:
        words += f" {celsius:g} °F would be {from_fahrenheit(celsius):.1f} °C."
    return words


def question(
    celsius: float,
    where: str,
    *,
    expected_c: float,
    near: Iterable[Near] = (),
    cap_c: float | None = None,
) -> str | None:
    """
    Return what to ask before a temperature is believed; None where nothing is odd about it.

    Parameters
    ----------
    celsius : float
        The reading, C.
    where : str
        'air', 'oven', 'surface' or 'core'.
    expected_c : float
        Room expected then, C.
    near : iterable of Near
        The readings of the same place next before and after it.
    cap_c : float, optional
        Hottest a casting of this system may get, C.

    Returns
    -------
    str or None
        Sentences with the value, the limit and the unit.
    """
    low, high = USUAL_C[where]
    if not low <= celsius <= high:
        return f"{NAMES[where]} is usually {low:g} to {high:g} °C; this is {celsius:.1f} °C." + (
            f" {celsius:g} °F would be {from_fahrenheit(celsius):.1f} °C."
            if low <= from_fahrenheit(celsius) <= high
            else ""
        )
    if where == "air" and abs(celsius - expected_c) > FROM_EXPECTED_K:
        return f"{expected_c:g} °C is expected in the shop; this is {celsius:.1f} °C."
    if where in ("surface", "core"):
        if cap_c is not None and celsius > cap_c + OVER_CAP_K:
            return f"A casting of this system may get {cap_c:g} °C; this is {celsius:.1f} °C."
        if celsius < expected_c - FROM_EXPECTED_K:
            return f"{expected_c:g} °C is expected in the shop; this casting has {celsius:.1f} °C."
    at_once, an_hour = JUMP_K[where]
    for one in near:
        most = at_once + an_hour * one.hours
        if abs(celsius - one.celsius) > most:
            return (
                f"{60 * one.hours:.0f} min away {one.celsius:.1f} °C was read here; at most "
                f"{most:.0f} K lie between, this is {abs(celsius - one.celsius):.0f} K."
            )
    return None
