"""A settled can that is weighed from without having been stirred: refused, passed or marked."""

from __future__ import annotations

from datetime import datetime, timedelta

from planning.batches.models import BatchEntry, BatchLine, EntryKind, Weighing
from planning.batches.stirring import stir_again, wants_stir
from planning.core.casting.pour_gate import Hindrance
from planning.system_data import components_of
from planning.weigh_in.gate import NotReady, Passing, Verdict, plain, read_passing
from shop import stores

HOUR = timedelta(hours=1)


def judge_stirring(line: BatchLine, container_id: int, at: datetime, passing: Passing) -> Verdict:
    """
    Let a weighing through, or refuse it; with `passing.already` it has happened.

    Raises
    ------
    NotReady
        When it is about to happen from a can whose filler settles, nobody has signed that the can
        is stirred, and no reason with a name is given.
    """
    info = stores.system(line.batch.system_id)
    material = components_of(info)[line.role]
    can = stores.container(container_id)
    again = stir_again(material)
    passing = read_passing(passing)
    if again is None or not wants_stir(can, material, at):
        return Verdict(late=passing.already, passing=passing)
    found = Hindrance(
        "not_stirred",
        f"Can {can.code} is not signed as stirred within {again / HOUR:g} h; the filler of "
        f"{material.name} settles.",
        "Stir it down to the bottom and sign that it is stirred.",
        reason_passes=True,
    )
    if not passing.already and not passing.reason:
        raise NotReady(
            f"{found.words} {found.what_to_do} To go on all the same, give a reason and the name "
            "of who decides.",
            code="not_ready",
            hindrances=[plain(found)],
        )
    return Verdict((found,), passing.already, passing)


def entry_of(weighing: Weighing, verdict: Verdict) -> BatchEntry:
    """Return the entry that says that a can was not stirred; it is not saved yet."""
    return BatchEntry(
        batch=weighing.line.batch,
        key=f"{weighing.key}:unstirred"[-120:],
        kind=EntryKind.UNSTIRRED,
        at=weighing.at,
        recorded_at=weighing.recorded_at,
        by=weighing.by,
        line=weighing.line,
        container_id=weighing.container_id,
        words=verdict.hindrances[0].words,
    )
