"""Oven loads: tools of one cycle go in together, and a load may be held for one more tool."""

from __future__ import annotations

from typing import NamedTuple

from planning.core.problem import Step
from planning.core.solver import masks
from planning.core.solver.board import Board, Load, lateness
from planning.core.solver.shop import Shop

NO_OVEN = -1


class Held(NamedTuple):
    """A pour whose load starts later: its job, the number of its work, its new finish."""

    job: int
    work: int
    finish: int


def find(shop: Shop, board: Board, step: Step, low: int) -> tuple[int, int] | None:
    """Return (oven, start) of the earliest load a step may join or begin at `low` or later."""
    best: tuple[int, int] | None = None
    high = shop.problem.horizon_min - 1
    if step.longest_wait_min is not None:
        high = min(high, low + step.longest_wait_min - step.wait_min)
    for index, oven in enumerate(shop.ovens):
        starts = [
            x.start for x in board.ovens[index]
            if x.cycle == step.oven_cycle and x.start >= low
            and x.end - x.start == step.wait_min and x.tools < oven.capacity
            and is_open(shop, index, x.start, x.end)
        ]  # fmt: skip
        for start in [*starts, _free_from(shop, board, index, step.wait_min, low)]:
            if low <= start <= high and (best is None or start < best[1]):
                best = (index, start)
    if best is None or best[1] > low:
        for index in range(len(shop.ovens)):
            if low <= high and _held(shop, board, index, low, step) is not None:
                return index, low
    return best


def _free_from(shop: Shop, board: Board, oven: int, minutes: int, low: int) -> int:
    loads = ((x.start, x.end) for x in board.ovens[oven])
    busy = masks.spans(loads) | masks.spans(shop.ovens[oven].closed)
    free = masks.starts(masks.span(0, shop.place_length) & ~busy, max(1, minutes))
    return masks.first(free, low)


def load(board: Board, oven: int, start: int, wait: int, cycle: str) -> None:
    """Add one tool to the load that starts at `start`, or begin that load."""
    loads = list(board.ovens[oven])
    for i, found in enumerate(loads):
        if found.start == start and found.cycle == cycle and found.end == start + wait:
            loads[i] = found._replace(tools=found.tools + 1)
            break
    else:
        loads.append(Load(start, start + wait, cycle, 1, False))
    board.ovens[oven] = tuple(loads)


def is_free(shop: Shop, board: Board, oven: int, start: int, step: Step) -> bool:
    """Return whether a tool may go in at `start`, with a load of its cycle or as the first."""
    end = start + step.wait_min
    if not is_open(shop, oven, start, end):
        return False
    for x in board.ovens[oven]:
        if x.start < end and start < x.end:
            same = (x.start, x.end, x.cycle) == (start, end, step.oven_cycle)
            return same and x.tools < shop.ovens[oven].capacity
    return True


def is_open(shop: Shop, oven: int, start: int, end: int) -> bool:
    """Return whether an oven is open all the time; a frozen load may lie in one that is not."""
    return all(end <= a or b <= start for a, b in shop.ovens[oven].closed)


def put_in(shop: Shop, board: Board, oven: int, start: int, step: Step) -> bool:
    """Put a tool in at a start that `find` has given; whether that still holds."""
    if not is_free(shop, board, oven, start, step) and not _hold_for(
        shop, board, oven, start, step
    ):
        return False
    load(board, oven, start, step.wait_min, step.oven_cycle)
    return True


def unload(board: Board, oven: int, start: int) -> None:
    """Take one tool out of the load that starts at `start`."""
    loads = [x._replace(tools=x.tools - 1) if x.start == start else x for x in board.ovens[oven]]
    board.ovens[oven] = tuple(x for x in loads if x.tools > 0 or x.fixed)


def _hold_for(shop: Shop, board: Board, oven: int, start: int, step: Step) -> bool:
    """Let a load that would have begun shortly before `start` wait until then, if it can."""
    found = _held(shop, board, oven, start, step)
    if found is None:
        return False
    before, members = found
    moved = before._replace(start=start, end=start + step.wait_min)
    board.ovens[oven] = tuple(moved if x is before else x for x in board.ovens[oven])
    for job, number, finish in members:
        placed = board.placed[job]
        works = list(placed.works)
        works[number] = works[number]._replace(oven_start=start)
        board.placed[job] = placed._replace(works=tuple(works))
        set_finish(shop, board, job, finish)
    return True


def set_finish(shop: Shop, board: Board, index: int, finish: int) -> None:
    """Note that a pour is done at another time, and end its stand then."""
    job, placed = shop.jobs[index], board.placed[index]
    late = lateness(job, finish)
    board.late += late - placed.late
    board.time += finish - placed.finish
    end = placed.stand_end
    if not job.keeps_place and not job.children:
        board.release((placed.slot,), finish, placed.stand_end)
        board.reserve((placed.slot,), placed.stand_end, finish)
        end = finish
    board.placed[index] = placed._replace(finish=finish, late=late, stand_end=end)


def _held(
    shop: Shop, board: Board, oven: int, start: int, step: Step
) -> tuple[Load, list[Held]] | None:
    """Return the load that can wait until `start` with no harm to any tool in it."""
    wait, found = step.wait_min, None
    for x in board.ovens[oven]:
        if x.start < start < x.end and x.cycle == step.oven_cycle and not x.fixed:
            found = x
        elif x.start < start + wait and start < x.end:
            return None
    if found is None or found.end - found.start != wait:
        return None
    if found.tools >= shop.ovens[oven].capacity or start + wait > shop.place_length:
        return None
    if not is_open(shop, oven, start, start + wait):
        return None
    members: list[Held] = []
    for index, placed in board.placed.items():
        for number, work in enumerate(placed.works):
            if work.oven == oven and work.oven_start == found.start:
                if not _may_wait(shop, board, index, number, start, start + wait):
                    return None
                members.append(Held(index, number, start + wait))
    return (found, members) if len(members) == found.tools else None


def _may_wait(shop: Shop, board: Board, index: int, number: int, start: int, finish: int) -> bool:
    """Return whether a tool may go into its oven at `start` and nothing comes later for it."""
    job, placed = shop.jobs[index], board.placed[index]
    work = placed.works[number]
    if work.fixed or work.kind != "after" or work.number != len(job.after) - 1:
        return False
    longest = job.after[-1].step.longest_wait_min
    if longest is not None and finish > work.end + longest:
        return False
    if lateness(job, finish) > placed.late:
        return False
    late = shop.ahead.late_after
    for child in job.children:
        if child in board.placed or job.keeps_place:
            return False
        if late(shop.jobs[child], -1, finish) > late(shop.jobs[child], -1, placed.finish):
            return False
    if job.children:
        return True
    need = masks.span(placed.stand_end, finish)
    return board.free[placed.slot] & need == need
