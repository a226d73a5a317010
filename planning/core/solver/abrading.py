"""Abrade and clean a lift whose recoat window has closed."""

from __future__ import annotations

from planning.core.solver import masks, ovens, pots
from planning.core.solver.board import Board, Work
from planning.core.solver.job import Job
from planning.core.solver.pots import Poured
from planning.core.solver.shop import Shop


def abrade(
    shop: Shop, found: Poured, job: Job, index: int, low: int
) -> tuple[Poured, list[Work]] | None:
    """Take one person to abrade between two lifts."""
    if job.lifts[index].abraded is not None:
        return found, [_fixed_abrade(job, index)]
    minutes = job.chemistry.system.abrade_min
    units = shop.group("")
    bits = shop.in_horizon & shop.people_starts(found.board.free, units, 1, max(1, minutes))
    start = masks.last(bits, pots.first_contact(job, found) - minutes)
    if start < low:
        return None
    board = found.board.copy()
    people = shop.pick_people(board.free, units, 1, start, max(1, minutes))
    board.reserve(people, start, start + minutes)
    work = Work("abrade", index, start, start + minutes, people, ovens.NO_OVEN, 0, False)
    return found._replace(board=board), [work]


def abrade_first(
    shop: Shop,
    board: Board,
    job: Job,
    index: int,
    portions: tuple[float, ...],
    low: int,
    sharable: bool,
) -> tuple[Poured, list[Work]] | None:
    """Abrade as early as somebody can, and pour after that."""
    minutes = job.chemistry.system.abrade_min
    units = shop.group("")
    bits = shop.in_horizon & shop.people_starts(board.free, units, 1, max(1, minutes))
    start = masks.first(bits, low)
    if start < 0:
        return None
    trial = board.copy()
    people = shop.pick_people(trial.free, units, 1, start, max(1, minutes))
    trial.reserve(people, start, start + minutes)
    end = start + minutes
    begin = end + job.chemistry.system.mix_min  # abraded before the pot is mixed
    found = pots.pour_new(shop, trial, job, index, portions, begin, None, sharable)
    if found is None:
        return None
    work = Work("abrade", index, start, end, people, ovens.NO_OVEN, 0, False)
    return found, [work]


def _fixed_abrade(job: Job, index: int) -> Work:
    task = job.lifts[index].abraded
    assert task is not None
    return Work("abrade", index, task.start_min, task.end_min, (), ovens.NO_OVEN, 0, True)
