"""Planned pours that change: pours know of no plan, so whoever plans registers what to do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Protocol

from planning.pours.models import Pour


class TakeOut(Protocol):
    """Frees what is planned of pours and asks for a new plan; refuses where work has begun."""

    def __call__(
        self, *, pours: Sequence[Pour], reason: str, now: datetime, by: Any = None
    ) -> None: ...


class PlanAgain(Protocol):
    """Asks for a new plan of a site; what is planned stays until one is confirmed."""

    def __call__(self, *, site: Any, reason: str, now: datetime, by: Any = None) -> None: ...


_registered: list[tuple[TakeOut, PlanAgain]] = []


def register_planner(take_out: TakeOut, plan_again: PlanAgain) -> None:
    """Say who plans; called once when the application starts."""
    _registered[:] = [(take_out, plan_again)]


def take_out_of_plan(*, pours: Sequence[Pour], reason: str, now: datetime, by: Any = None) -> None:
    """Take planned pours out of the plan; afterwards they are asked for again."""
    ((take_out, _),) = _registered
    take_out(pours=pours, reason=reason, now=now, by=by)


def plan_again(*, site: Any, reason: str, now: datetime, by: Any = None) -> None:
    """Ask for a new plan of a site because something of an order has changed."""
    ((_, again),) = _registered
    again(site=site, reason=reason, now=now, by=by)
