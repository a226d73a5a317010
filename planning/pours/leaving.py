"""Taking planned pours out of the plan: pours know of no plan, so whoever plans registers how."""

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


_registered: list[TakeOut] = []


def register_take_out(take_out: TakeOut) -> None:
    """Say who takes pours out of the plan; called once when the application starts."""
    _registered[:] = [take_out]


def take_out_of_plan(*, pours: Sequence[Pour], reason: str, now: datetime, by: Any = None) -> None:
    """Take planned pours out of the plan; afterwards they are asked for again."""
    (take_out,) = _registered
    take_out(pours=pours, reason=reason, now=now, by=by)
