"""Place chains of steps: as early as they can, or as late as the pour after them allows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from planning.core.solver import masks, ovens
from planning.core.solver.board import Blocked, Board, Work
from planning.core.solver.job import StepJob
from planning.core.solver.ovens import NO_OVEN
from planning.core.solver.shop import Shop


def step_mask(shop: Shop, board: Board, job: StepJob) -> int:
    """Return the minutes at which the hands of a step may start."""
    step = job.step
    if step.hands_min == 0:
        return shop.in_horizon
    return shop.in_horizon & shop.people_starts(board.free, job.units, step.hands, step.hands_min)


def fixed_work(shop: Shop, job: StepJob, index: int) -> Work:
    """Return the work of a step that is frozen."""
    task = job.fixed
    assert task is not None
    oven = next((i for i, o in enumerate(shop.ovens) if o.id == task.oven), NO_OVEN)
    begin = task.end_min if task.oven_start_min is None else task.oven_start_min
    return Work(job.kind, index, task.start_min, task.end_min, (), oven, begin, True)


def ready_after(job: StepJob, work: Work) -> int:
    """Return when the wait after a step has run."""
    begin = work.oven_start if work.oven != NO_OVEN else work.end
    return begin + job.step.wait_min


def earliest(
    shop: Shop, board: Board, steps: tuple[StepJob, ...], low: int, holds_low: int = 0
) -> tuple[list[Work], int] | None:
    """
    Place steps one after another, each as early as it can be.

    Where the next step cannot start within the longest wait, the one before is put later.

    Parameters
    ----------
    low : int
        Earliest start of the first step, min.
    holds_low : int
        Earliest start of the first step that holds a place, min.

    Returns
    -------
    (works, ready) or None
        `ready` is when the wait after the last step has run; people are not yet taken.
    """
    lows = [low] * len(steps)
    for i, s in enumerate(steps):
        if s.step.holds_place:
            lows[i] = max(lows[i], holds_low)
            break
    bits: list[int] = []
    works: list[Work] = []
    i = 0
    for _ in range(40 * len(steps) + 40):
        if i == len(steps):
            return works, ready_after(steps[-1], works[-1]) if steps else low
        job = steps[i]
        if job.fixed is not None:
            left = i and steps[i - 1].fixed is None
            if left and ready_after(steps[i - 1], works[i - 1]) > job.fixed.start_min:
                return None
            works[i:] = [fixed_work(shop, job, i)]
            if len(bits) <= i:
                bits.append(0)
            i += 1
            continue
        if len(bits) <= i:
            bits.append(step_mask(shop, board, job))
        ready = ready_after(steps[i - 1], works[i - 1]) if i else low
        start = masks.first(bits[i], max(lows[i], ready, 0))
        if start < 0:
            return None
        longest = steps[i - 1].step.longest_wait_min if i else None
        if longest is not None and start > works[i - 1].end + longest:
            if steps[i - 1].fixed is not None:
                return None
            before = steps[i - 1].step
            lows[i - 1] = max(works[i - 1].start + 1, start - longest - before.hands_min)
            i -= 1
            continue
        work = _begun(shop, board, job, i, start)
        if work is None:
            return None
        works[i:] = [work]
        i += 1
    return None


def _begun(shop: Shop, board: Board, job: StepJob, index: int, start: int) -> Work | None:
    """Return a step begun at a minute, with the oven its wait is spent in if it needs one."""
    end = start + job.step.hands_min
    oven, begin = NO_OVEN, end
    if job.step.oven_cycle:
        slot = ovens.find(shop, board, job.step, end)
        if slot is None:
            return None
        oven, begin = slot
    return Work(job.kind, index, start, end, (), oven, begin, False)


class Pouring(NamedTuple):
    """
    What follows the steps before a pour.

    Attributes
    ----------
    mixed : int
        First contact of its first pot, min; by then the hands of all steps are done.
    start : int
        Start of pouring, min; by then the wait after the last step has run.
    longest : int or None
        Longest time from the end of the last step's hands to the start of pouring, min.
    """

    mixed: int
    start: int
    longest: int | None


def latest(
    shop: Shop, board: Board, steps: tuple[StepJob, ...], low: int, pouring: Pouring
) -> list[Work] | None:
    """Place steps as late as they can be before a pour."""
    works: list[Work] = []
    after, most, hands_by = pouring.start, pouring.longest, pouring.mixed
    for i in range(len(steps) - 1, -1, -1):
        job = steps[i]
        if job.fixed is not None:
            work = fixed_work(shop, job, i)
            if ready_after(job, work) > after or (most is not None and after > work.end + most):
                return None
            if work.end > hands_by:
                return None
            works.append(work)
        else:
            if job.step.oven_cycle:
                return None
            hands = job.step.hands_min
            high = min(after - job.step.wait_min, hands_by) - hands
            start = masks.last(step_mask(shop, board, job), high)
            if start < low or (most is not None and start + hands + most < after):
                return None
            works.append(
                Work(job.kind, i, start, start + hands, (), NO_OVEN, start + hands, False)
            )
        after = hands_by = works[-1].start
        most = steps[i - 1].step.longest_wait_min if i else None
    return works[::-1]


def as_before(
    shop: Shop,
    board: Board,
    steps: tuple[StepJob, ...],
    starts: Mapping[str, int],
    low: int,
    pouring: Pouring | None = None,
) -> list[Work] | None:
    """
    Place steps when they were to be done before, or as near to it as leaves the next one in place.

    Parameters
    ----------
    starts : mapping
        Start of each step by its id, min.
    low : int
        Earliest start of the first step, min.
    pouring : Pouring or None
        What follows the last step, if it is a pour.

    Returns
    -------
    list of Work or None
        None where a step was in no plan, or cannot stay near.
    """
    works: list[Work] = []
    ready, most = low, None
    for i, job in enumerate(steps):
        wait = job.step.longest_wait_min
        if job.fixed is not None:
            work = fixed_work(shop, job, i)
        else:
            following = pouring
            if i + 1 < len(steps):
                above = steps[i + 1]
                after = above.fixed.start_min if above.fixed else starts.get(above.step.id)
                following = None if after is None else Pouring(after, after, wait)
            start = _nearest(shop, board, job, starts.get(job.step.id), ready, most, following)
            if start is None:
                return None
            begun = _begun(shop, board, job, i, start)
            if begun is None:
                return None
            work = begun
        works.append(work)
        ready = ready_after(job, work)
        most = None if wait is None else work.end + wait
    return None if works and pouring is not None and too_late(works[-1], ready, pouring) else works


def too_late(last: Work, ready: int, pouring: Pouring) -> bool:
    """Return whether a pour cannot follow the last step before it."""
    if ready > pouring.start or last.end > pouring.mixed:
        return True
    return pouring.longest is not None and pouring.start > last.end + pouring.longest


def _nearest(
    shop: Shop,
    board: Board,
    job: StepJob,
    old: int | None,
    low: int,
    high: int | None,
    following: Pouring | None,
) -> int | None:
    """Return the start nearest to the old one that leaves room before what follows."""
    if old is None:
        return None
    hands = job.step.hands_min
    if following is not None:
        room = min(following.start - job.step.wait_min, following.mixed) - hands
        high = room if high is None else min(high, room)
        if following.longest is not None:
            low = max(low, following.start - following.longest - hands)
    bits = step_mask(shop, board, job)
    wanted = max(low, old if high is None else min(old, high))
    near = [x for x in (masks.first(bits, wanted), masks.last(bits, wanted)) if x >= low]
    near = [x for x in near if high is None or x <= high]
    return min(near, key=lambda x: (abs(x - old), x), default=None)


def staff(
    shop: Shop, board: Board, steps: tuple[StepJob, ...], works: list[Work], load: bool = True
) -> list[Work]:
    """
    Take people for placed steps and, if `load`, their oven loads.

    Raises
    ------
    Blocked
        If people or an oven are no longer free.
    """
    done = []
    for job, work in zip(steps, works, strict=True):
        if work.fixed:
            done.append(work)
            continue
        minutes = work.end - work.start
        people: tuple[int, ...] = ()
        if minutes:
            people = shop.pick_people(board.free, job.units, job.step.hands, work.start, minutes)
            if len(people) < job.step.hands:
                raise Blocked("shift")
            board.reserve(people, work.start, work.end)
        in_oven = load and work.oven != NO_OVEN
        # a pot that was shared meanwhile may have moved a tool that was to wait for this one
        if in_oven and not ovens.put_in(shop, board, work.oven, work.oven_start, job.step):
            raise Blocked("oven")
        done.append(work._replace(people=people))
    return done
