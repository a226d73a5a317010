"""Figures of the service for whoever watches it: apps register functions, `/metrics` asks them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Gauge:
    """One figure now, with its unit in the name: `shop_plans_waiting_seconds`."""

    name: str
    about: str
    value: float


Gauges = Callable[[datetime], Iterable[Gauge]]
_known: list[Gauges] = []


def register_gauges(function: Gauges) -> None:
    """Let `function` be asked for figures; it gets the present moment and asks little."""
    if function not in _known:
        _known.append(function)


def gauges(now: datetime) -> list[Gauge]:
    """Return all figures."""
    return [gauge for function in _known for gauge in function(now)]


def age_s(now: datetime, since: datetime | None) -> float:
    """Return the seconds since a moment; 0 where there is none or it lies ahead."""
    return 0.0 if since is None else max(0.0, (now - since).total_seconds())
