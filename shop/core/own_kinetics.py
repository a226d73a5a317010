"""Whether a system's kinetics were fitted to the shop's own pours, closely enough to rely on."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

KEY = "fitted"
"""Under this name what is known of the fit lies beside the constants."""
LEAST_POURS, LEAST_READINGS = 3, 40
MOST_RMS_K = 1.0
"""Measured and computed may differ by so much; a logger scatters by 0.3 K."""
MOST_RATE_PERCENT, MOST_HEAT_PERCENT = 25.0, 6.0
"""Half of the widest 95 % interval of a rate constant and of the heat of cure. The two rate
constants make up for each other, so that each alone is surer of their sum. All assumed."""
_DIGITS = 4


@dataclass(frozen=True)
class Origin:
    """Where the kinetics of a system come from."""

    calibrated: bool
    """They may be trusted as the shop's own."""
    words: str


def parts(hardener: str, further: Iterable[tuple[str, float]]) -> str:
    """Return the code of a hardener with those of filler and the like, each with its share."""
    return "+".join([hardener, *sorted(f"{code}:{share:.4f}" for code, share in further)])


def told_by(
    kinetics: Mapping[str, Any], hardener: str, per_100: float, *, pours: int, readings: int,
    rms_k: float, rate_percent: float, heat_percent: float,
) -> dict[str, Any]:  # fmt: skip
    """
    Return what a register keeps of a fit, so that it can be told later whether it still holds.

    Parameters
    ----------
    kinetics : mapping
        All constants as they will be kept.
    hardener : str
        What the pours were made with beside the resin, see `parts`.
    per_100 : float
        Parts of it by mass to 100 of resin.
    pours, readings : int
        How many were fitted.
    rms_k : float
        Root mean square of measured less computed, K.
    rate_percent, heat_percent : float
        Half of the widest 95 % interval, in percent of the value.
    """
    return {
        "pours": pours, "readings": readings, "rms_k": round(rms_k, 3),
        "rate_percent": round(rate_percent, 2), "heat_percent": round(heat_percent, 2),
        "figures": _figures(kinetics, hardener, per_100),
    }  # fmt: skip


def origin(kinetics: Mapping[str, Any] | None, hardener: str, per_100: float) -> Origin:
    """
    Say where kinetics come from, and whether they may be trusted as the shop's own.

    A fit counts only for the very constants, hardener and ratio it was made with: whoever changes
    one of them has kinetics from elsewhere again. What cannot be read counts for nothing.
    """
    if not kinetics:
        return Origin(False, "no kinetics")
    told = kinetics.get(KEY)
    if not isinstance(told, Mapping):
        return Origin(False, "from the data sheet")
    try:
        pours, readings = int(told["pours"]), int(told["readings"])
        shorts = _shorts(told, pours, readings)
    except (KeyError, TypeError, ValueError, OverflowError):
        return Origin(False, "from the data sheet: what is told of a fit cannot be read")
    records = f"{pours} {'record' if pours == 1 else 'records'} of this shop"
    if told.get("figures") != _figures(kinetics, hardener, per_100):
        return Origin(False, f"from the data sheet: changed since they were fitted from {records}")
    if shorts:
        return Origin(False, f"fitted from {records}, not relied on: {'; '.join(shorts)}")
    return Origin(True, f"fitted from {records}")


def _shorts(told: Mapping[str, Any], pours: int, readings: int) -> list[str]:
    """Return in which ways a fit falls short."""
    found = []
    if not pours >= LEAST_POURS:
        found.append(f"at least {LEAST_POURS} are needed")
    if not readings >= LEAST_READINGS:
        found.append(f"{readings} readings, at least {LEAST_READINGS} are needed")
    # Not "more than": what is not a number falls short as well.
    for name, most, what in (
        ("rms_k", MOST_RMS_K, "measured and computed {:g} K apart, at most {:g} K"),
        ("rate_percent", MOST_RATE_PERCENT, "a rate is known to {:g} % only, {:g} % is asked"),
        ("heat_percent", MOST_HEAT_PERCENT, "the heat is known to {:g} % only, {:g} % is asked"),
    ):
        value = float(told[name])
        if not 0 <= value <= most:
            found.append(what.format(value, most))
    return found


def _figures(kinetics: Mapping[str, Any], hardener: str, per_100: float) -> str:
    """Return a text that differs once a constant, the hardener or the ratio has changed."""
    rows = [*_flat({k: v for k, v in kinetics.items() if k != KEY}), f"{hardener}:{per_100:.4f}"]
    return hashlib.sha256("|".join(sorted(rows)).encode()).hexdigest()[:16]


def _flat(values: Mapping[str, Any], under: str = "") -> list[str]:
    found: list[str] = []
    for name, value in values.items():
        if isinstance(value, Mapping):
            found += _flat(value, f"{under}{name}.")
        elif value is not None:
            # Stored as a number or, in a proposed change, as text: both are the same figure.
            found.append(f"{under}{name}={float(value):.{_DIGITS}g}")
    return found
