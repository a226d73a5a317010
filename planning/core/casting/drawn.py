"""When things happen in lifts drawn from what is known of one, and a share of their times."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.lane_spans import ended, first_lanes, longer, unfinished, waiting
from planning.core.casting.model_times import NAMES, Times, times_of
from planning.core.casting.posterior import Posterior, figures_of, room_lanes

Array = NDArray[np.float64]

_DRAWS, _SHARE = 128, 0.95
_LATEST = _DRAWS - math.ceil(_SHARE * _DRAWS)
"""This many draws are later than the share asked for."""
_NEAR_END_H = 0.3


def drawn_times(known_now: Posterior, need: float, *, bonds_only: bool = False) -> Times:
    """
    Return when things happen in draws from what is known; shape (draws,).

    The draws are many and only a share of them counts. So they are solved more coarsely, those in
    which all has happened are left alone, and the few that are the latest anyway stay infinite.

    Parameters
    ----------
    known_now : Posterior
        The lift.
    need : float
        Conversion asked before demoulding.
    bonds_only : bool
        Solve only until the first of them no longer bonds.
    """
    lift, room, z = known_now.lift, known_now.room, known_now.draws(_DRAWS)
    lanes = first_lanes(
        lift, figures_of(lift, z), room.hours, room_lanes(room, z), need, coarse=True
    )
    going, times = np.arange(_DRAWS), times_of(lift, lanes.solved, need)
    found, stated = times, lift.system.bond_conversion is not None
    while not ended(lanes):
        wait = waiting(lift, lanes.solved, times, need)
        # The first that no longer bonds closes the window, so all are followed until then.
        bonding = stated and not np.isfinite(found.bonds).any()
        few = bonds_only or unfinished(lift, found).sum() <= _LATEST
        if not wait.any() or (few and not bonding):
            break
        rows = np.nonzero(wait | bonding)[0]
        going, lanes = going[rows], longer(lift, lanes.only(rows.tolist()), coarse=True)
        times = times_of(lift, lanes.solved, need)
        found = found.changed(going, times)
    # Still getting warmer where the solving ended: its peak is yet to come.
    rising = unfinished(lift, times) & (times.peak > lanes.solved.hours[-1] - _NEAR_END_H)
    found.peak[going[rising]] = np.inf
    return found


def share_of(times: Times) -> tuple[dict[str, float], dict[str, float]]:
    """Return the 5 % and the 95 % point of draws, by name."""
    early, late = {}, {}
    for name in NAMES:
        values = np.sort(times.named(name))
        early[name], late[name] = float(values[_LATEST]), float(values[-1 - _LATEST])
    return early, late
