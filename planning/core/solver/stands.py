"""Stands: which slot of a place a pour takes, how long, and what takes it over."""

from __future__ import annotations

from collections.abc import Iterable

from planning.core.solver import masks
from planning.core.solver.board import Board, Placed
from planning.core.solver.job import Job
from planning.core.solver.shop import Shop

DAY = 1440


def keep(shop: Shop, board: Board, jobs: Iterable[Job]) -> None:
    """
    Keep the slots of begun pours until they are on the board, as long as they are free.

    A begun pour stands there whatever was planned, and until it is taken off nobody else can. All
    frozen stands are taken first: what of one is kept on must not reach into another. One that was
    put down to end sooner may have been followed by another pour meanwhile, and is kept till then.
    """
    begun = []
    for job in jobs:
        slot = shop.stand_slots.get(job.index)
        if job.stand is not None and slot is not None:
            followed = _followed(shop, board, slot, job.stand.start_min)
            begun.append((job.index, slot, job.stand.start_min, job.stand.end_min, followed))
    for _, slot, start, end, followed in begun:
        board.reserve((slot,), start, min(end, followed))
    for index, slot, start, end, followed in begun:
        board.keep_slot(index, slot, (start, min(end, followed)), followed)


def _followed(shop: Shop, board: Board, slot: int, start: int) -> int:
    """Return when the first pour that is not begun comes into a slot after a minute."""
    comes = (
        placed.stand_start
        for index, placed in board.placed.items()
        if placed.slot == slot and placed.stand_start >= start and shop.jobs[index].stand is None
    )
    return min(comes, default=shop.place_length)


def find(shop: Shop, board: Board, job: Job, placed: Placed, until: int) -> int:
    """Return a slot of the pour's kind that is free for its stand `until` then, or -1."""
    whole = masks.span(placed.stand_start, until)
    before = masks.span(0, placed.stand_start)
    best, room = -1, -1
    for unit in _slots(shop, board, job):
        free, need = board.free[unit], whole
        if job.stand is not None:
            free |= masks.span(job.stand.start_min, board.held[job.index])
        elif job.pour.same_place and job.parent is not None:
            below = board.placed[job.parent]
            free |= masks.span(below.finish, below.stand_end)
            # until this one begins the one below stays, be it longer than it had reckoned with
            need |= masks.span(below.stand_end, placed.stand_start)
        if free & need != need:
            continue
        # the slot that was busy last until just before, so that long gaps stay whole
        busy = (before ^ (free & before)).bit_length()
        if busy > room:
            best, room = unit, busy
    return best


def ends(shop: Shop, job: Job, placed: Placed) -> list[int]:
    """
    Return ends of the stand to try, the best first.

    A place that a pour yet to come takes over is best kept for good, so that that one may begin
    at any time; where no place is free so long, for as long as that one needs and a day more.
    """
    if not job.keeps_place:
        return [placed.stand_end]
    above = [shop.jobs[c] for c in job.children if shop.jobs[c].pour.same_place]
    begun = [a.stand.start_min for a in above if a.stand is not None]
    if begun:
        return [min(begun)]
    return [shop.place_length, _done_above(shop, job, placed.finish) + DAY]


def _done_above(shop: Shop, job: Job, finish: int) -> int:
    """Return when the pours that take over a place may be done, in an empty shop."""
    done = finish
    for child in job.children:
        above = shop.jobs[child]
        if above.pour.same_place and not above.trouble:
            low = max(finish, shop.earliest[child])
            own = shop.ahead.moments(above, low)[-1]
            done = max(done, _done_above(shop, above, own))
    return min(done, shop.place_length - DAY)


def _slots(shop: Shop, board: Board, job: Job) -> list[int]:
    if job.stand is not None:
        return [shop.stand_slots[job.index]]
    if job.pour.same_place and job.parent is not None:
        return [board.placed[job.parent].slot]
    return shop.slots[job.pour.place_kind]


def later(shop: Shop, board: Board, job: Job, placed: Placed) -> int | None:
    """Return the next minute from which a slot is free as long as the stand lasts."""
    if job.stand is not None:
        return None
    if job.pour.same_place and job.parent is not None:
        return None
    minutes = ends(shop, job, placed)[-1] - placed.stand_start
    found = []
    for unit in _slots(shop, board, job):
        begin = masks.first(masks.starts(board.free[unit], minutes), placed.stand_start + 1)
        if begin > placed.stand_start:
            found.append(begin)
    first = min(found, default=None)
    return first if first is not None and first < shop.problem.horizon_min else None


def hand_over(board: Board, parent: int, start: int) -> None:
    """End the stand of the pour below where the one above begins, sooner or later."""
    below = board.placed[parent]
    board.release((below.slot,), start, below.stand_end)
    board.reserve((below.slot,), below.stand_end, start)
    board.placed[parent] = below._replace(stand_end=start)
