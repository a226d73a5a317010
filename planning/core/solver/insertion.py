"""Put one pour on the board: its steps, its lifts pot by pot, its cure and its place."""

from __future__ import annotations

from planning.core.solver import abrading, pots, removal, stands, steps
from planning.core.solver.board import (
    Blocked,
    Board,
    Placed,
    Pot,
    Work,
    lateness,
)
from planning.core.solver.job import Job
from planning.core.solver.pots import Poured
from planning.core.solver.preferences import Preferences
from planning.core.solver.shop import Shop

DAY = 1440.0
MOVED_STEP = 0.25
"""What moving a step counts, in portions moved."""


def insert(
    shop: Shop, board: Board, job: Job, prefer: Preferences, low: int = 0, weigh_from: int = 0
) -> Board:
    """
    Return a copy of the board with the pour on it.

    Parameters
    ----------
    low : int
        Nothing of it begins before this minute.
    weigh_from : int
        Its first pot is weighed at this minute or later.

    Raises
    ------
    Blocked
        If it has no place in the horizon.
    """
    if job.trouble:
        raise Blocked(job.trouble[0])
    if job.parent is not None and job.parent not in board.placed:
        raise Blocked("stands_on")
    low = max(low, pots.not_before(shop, board, job.index))
    holds_low = low
    for _ in range(16):
        trial, placed, works = _with_low(shop, board, job, prefer, low, holds_low, weigh_from)
        for until in stands.ends(shop, job, placed):
            slot = stands.find(shop, trial, job, placed, until)
            if slot >= 0:
                placed = placed._replace(slot=slot)
                return _commit(shop, trial, job, placed, until, works, prefer)
        later = stands.later(shop, trial, job, placed)
        if later is None:
            raise Blocked("place")
        holds_low = later
    raise Blocked("place")


def _with_low(
    shop: Shop,
    board: Board,
    job: Job,
    prefer: Preferences,
    low: int,
    holds_low: int,
    weigh_from: int,
) -> tuple[Board, Placed, list[Work]]:
    """Place steps and lifts; the stand is not yet taken."""
    forward = steps.earliest(shop, board, job.before, low, holds_low)
    if forward is None:
        raise Blocked("shift")
    early, ready = forward
    if not any(s.step.holds_place for s in job.before):
        ready = max(ready, holds_low)
    system = job.chemistry.system
    ready = max(ready, weigh_from + system.weigh_min + system.mix_min)
    trial, poured, abrades, befores = _pour_lifts(
        shop, board, job, prefer, ready, early, low, holds_low
    )
    works = [*befores, *abrades]
    end = poured[-1].end if poured[-1] else _fixed_end(job)
    cured = end + max(job.chemistry.at(end).cure_min, job.pour.cure_min or 0)
    done = cured
    if job.after:
        after = _after(shop, trial, job, cured, prefer)
        works += steps.staff(shop, trial, job.after, after)
        done = steps.ready_after(job.after[-1], after[-1])
    start = _stand_start(job, works, poured)
    ids = tuple(p.pots if p else () for p in poured)
    return trial, Placed((), ids, -1, start, done, done, 0, 0), works


def _after(shop: Shop, board: Board, job: Job, cured: int, prefer: Preferences) -> list[Work]:
    """Return the last steps as early as they can be, or when they were if that is no later."""
    tail = steps.earliest(shop, board, job.after, cured)
    if tail is None:
        raise Blocked("horizon")
    starts = prefer.keep_steps.get(job.index)
    kept = steps.as_before(shop, board, job.after, starts, cured) if starts else None
    if kept is None:
        return tail[0]
    late = shop.ahead.late_after_done
    finish = steps.ready_after(job.after[-1], kept[-1])
    return kept if late(job, finish) <= late(job, tail[1]) else tail[0]


def _fixed_end(job: Job) -> int:
    return max(p.end_min for _, p in job.lifts[-1].fixed)


def _stand_start(job: Job, works: list[Work], poured: list[Poured | None]) -> int:
    if job.stand is not None:
        return job.stand.start_min
    for step, work in zip(job.before, works, strict=False):
        if step.step.holds_place:
            return work.start
    fixed = [p.start_min for _, p in job.lifts[0].fixed]
    return min(fixed) if fixed else poured[0].start  # type: ignore[union-attr]


def _pour_lifts(
    shop: Shop, board: Board, job: Job, prefer: Preferences, ready: int,
    early: list[Work], low: int, holds_low: int,
) -> tuple[Board, list[Poured | None], list[Work], list[Work]]:  # fmt: skip
    """
    Take people for the steps before, then pour lift after lift.

    A lift that comes too late for the gap moves the one below it later.
    """
    count = len(job.lifts)
    lows = [ready] + [0] * (count - 1)
    boards: list[Board] = [board.copy()] * (count + 1)
    poured: list[Poured | None] = [None] * count
    abrades: list[list[Work]] = [[] for _ in range(count)]
    before = early
    i = 0
    for _ in range(12 * count + 12):
        if i == count:
            return boards[count], poured, [w for a in abrades for w in a], before
        lift = job.lifts[i]
        if i == 0 and lift.fixed:
            if any(s.fixed is None for s in job.before):
                before = _before_begun(shop, board, job, prefer, early, low, holds_low)
            boards[0] = board.copy()
            before = steps.staff(shop, boards[0], job.before, before)
        if lift.fixed and not lift.divisions[0]:
            boards[i + 1], poured[i] = boards[i], None
            i += 1
            continue
        start_low, high = lows[i], None
        if i:
            end = _end_of(job, poured, i - 1)
            opens, high = job.gap(i, end)
            start_low = max(start_low, opens)
        signed = before[-1].end if before else 0
        try:
            chosen, works = _choose(shop, boards[i], job, prefer, i, start_low, high, signed)
        except Blocked as blocked:
            if blocked.low is None or i == 0 or poured[i - 1] is None or high is None:
                raise
            push = max(1, blocked.low - high)
            lows[i - 1] = poured[i - 1].start + push  # type: ignore[union-attr]
            i -= 1
            continue
        if i == 0 and job.before and not lift.fixed:
            mixed = pots.first_contact(job, chosen)
            pouring = steps.Pouring(mixed, chosen.start, _release_limit(shop, job))
            fitted = _kept_before(shop, chosen.board, job, prefer, pouring, low, holds_low)
            if fitted is None:
                fitted = _fit_before(shop, chosen.board, job, early, pouring, low)
            if fitted is None:
                lows[0] = max(lows[0] + 1, chosen.start + 1)
                taste_limit = _release_limit(shop, job)
                pushed = steps.earliest(
                    shop, board, job.before, low, max(low, chosen.start - (taste_limit or 0))
                )
                if pushed is None:
                    raise Blocked("step_order")
                early = pushed[0]
                lows[0] = max(pushed[1], ready)
                if lows[0] <= chosen.start:
                    lows[0] = chosen.start + 1
                continue
            # taken now: with no gap between them the next lift may be weighed before these
            before = steps.staff(shop, chosen.board, job.before, fitted)
        boards[i + 1], poured[i], abrades[i] = chosen.board, chosen, works
        i += 1
    raise Blocked("lift_gap")


def _before_begun(
    shop: Shop,
    board: Board,
    job: Job,
    prefer: Preferences,
    early: list[Work],
    low: int,
    holds_low: int,
) -> list[Work]:
    """Return the steps that are left before a pour whose first pot is frozen."""
    start = min(p.start_min for _, p in job.lifts[0].fixed)
    mixed = min(b.contact_min for b, _ in job.lifts[0].fixed)
    pouring = steps.Pouring(mixed, start, _release_limit(shop, job))
    works = _kept_before(shop, board, job, prefer, pouring, low, holds_low)
    works = works or _fit_before(shop, board, job, early, pouring, low)
    if works is None or any(_before_stand(job, work) for work in works):
        raise Blocked("step_order")
    return works


def _before_stand(job: Job, work: Work) -> bool:
    """Return whether a step that holds the place would begin before a begun stand does."""
    if work.fixed or job.stand is None or not job.before[work.number].step.holds_place:
        return False
    return work.start < job.stand.start_min


def _end_of(job: Job, poured: list[Poured | None], lift: int) -> int:
    found = poured[lift]
    if found is not None:
        return found.end
    return max(p.end_min for _, p in job.lifts[lift].fixed)


def _release_limit(shop: Shop, job: Job) -> int | None:
    """Return the longest wait between the last step and the pour, the stricter of two."""
    limits = [job.before[-1].step.longest_wait_min, shop.settings.coat_to_pour_most_min]
    return min((x for x in limits if x is not None), default=None)


def _kept_before(
    shop: Shop, board: Board, job: Job, prefer: Preferences, pouring: steps.Pouring, low: int,
    holds_low: int,
) -> list[Work] | None:  # fmt: skip
    """Return the steps when they were in the previous plan, where they still fit the pour."""
    starts = prefer.keep_steps.get(job.index)
    if not starts:
        return None
    kept = steps.as_before(shop, board, job.before, starts, low, pouring)
    holding = [
        work.start for work in kept or () if job.before[work.number].step.holds_place
    ]  # fmt: skip
    return None if holding and min(holding) < holds_low else kept


def _fit_before(
    shop: Shop, board: Board, job: Job, early: list[Work], pouring: steps.Pouring, low: int
) -> list[Work] | None:
    """Return the steps as late as the pour allows, or as early as they were, or None."""
    late = steps.latest(shop, board, job.before, low, pouring)
    if late is not None:
        return late
    if steps.too_late(early[-1], steps.ready_after(job.before[-1], early[-1]), pouring):
        return None
    for step, work in zip(job.before, early, strict=True):
        if (
            work.end > work.start
            and not work.fixed
            and not (steps.step_mask(shop, board, step) >> work.start & 1)
        ):
            return None
    return early


def _choose(
    shop: Shop, board: Board, job: Job, prefer: Preferences, index: int, low: int,
    high: int | None, signed: int,
) -> tuple[Poured, list[Work]]:  # fmt: skip
    """
    Return the cheapest way to pour one lift, with its abrade task where the gap is past.

    No pot of it is mixed before `signed`, when the steps before the pour are done.
    """
    lift = job.lifts[index]
    below = None
    if lift.fixed:
        batch, portion = lift.fixed[-1]
        below = (batch.contact_min + job.chemistry.gel_min(batch.contact_min), portion.end_min)
        low, high = max(low if index == 0 else 0, portion.end_min), None
    if lift.abraded is not None:
        signed = max(signed, lift.abraded.end_min)
    low = max(low, signed + job.chemistry.system.mix_min)
    forbid = high is not None and shop.settings.overdue_lift == "forbid"
    sharable = _sharable(shop, job, prefer)
    best: tuple[float, Poured, list[Work]] | None = None
    next_start: int | None = None
    for portions in lift.divisions:
        for found in _ways(shop, board, job, prefer, index, portions, low, below, sharable):
            works: list[Work] = []
            if pots.first_contact(job, found) < signed:
                continue
            if high is not None and found.start > high:
                if forbid:
                    next_start = (
                        found.start if next_start is None else min(next_start, found.start)
                    )
                    continue
                abraded = abrading.abrade(shop, found, job, index, low)
                if abraded is None and found.new == len(portions) and below is None:
                    abraded = abrading.abrade_first(
                        shop, board, job, index, portions, low, sharable
                    )
                if abraded is None:
                    continue
                found, works = abraded
            cost = _score(shop, job, prefer, index, found, bool(works), low)
            if best is None or cost < best[0]:
                best = (cost, found, works)
        if best is not None:
            break
    if best is None:
        raise Blocked("wet_on_wet" if below else "shift", next_start)
    return best[1], best[2]


def _sharable(shop: Shop, job: Job, prefer: Preferences) -> bool:
    most = min(shop.settings.most_tools_per_batch, job.chemistry.most_tools)
    return prefer.sharing and shop.settings.allow_sharing and job.pour.may_share and most > 1


def _ways(
    shop: Shop,
    board: Board,
    job: Job,
    prefer: Preferences,
    index: int,
    portions: tuple[float, ...],
    low: int,
    below: pots.Below,
    sharable: bool,
) -> list[Poured]:
    """Return ways to pour a lift: from new pots, and sharing the last one."""
    found = []
    begin = _delayed(job, prefer, index, low) if sharable and below is None else low
    new = pots.pour_new(shop, board, job, index, portions, begin, below, sharable)
    if new is not None:
        found.append(new)
    kept = prefer.keep.get((job.index, index))
    if kept is not None and kept >= low and below is None:
        as_before = pots.pour_new(shop, board, job, index, portions, kept, below, sharable)
        if as_before is not None and as_before.start == kept:
            found.append(as_before)
    if not sharable:
        return found
    until = shop.length
    candidates = pots.joinable(shop, board, job, portions[-1], low, until)
    tried = 0
    for _, _, pot in candidates:
        if tried >= prefer.joins:
            break
        if prefer.rng is not None and prefer.noise and prefer.rng.random() < prefer.noise * 0.3:
            continue
        for last in (True, False):
            way = pots.pour_joined(shop, board, job, index, portions, low, below, pot, last)
            if way is not None:
                found.append(way)
                tried += 1
                if last and len(portions) == 1 and _sooner_helps(shop, job, index, pot, way):
                    ahead = removal.pour_ahead(shop, board, job, index, portions[0], low, pot)
                    found += [ahead] if ahead is not None else []
                break
    return found


def _delayed(job: Job, prefer: Preferences, index: int, low: int) -> int:
    """Return `low` or, at times, a later start that makes nothing late."""
    if prefer.rng is None or prefer.rng.random() >= prefer.delay:
        return low
    rest = job.tail_min + sum(_least_lift_min(job, i) for i in range(index, len(job.lifts)))
    latest = min(due for due, _ in job.dues) - rest
    return low + round(max(0, latest - low) * prefer.rng.random())


def _sooner_helps(shop: Shop, job: Job, index: int, pot: Pot, way: Poured) -> bool:
    """Return whether being poured first from the pot would help."""
    first_end = pot.pour + way.end - way.start
    late = shop.ahead.late_after
    return late(job, index, way.end) > late(job, index, first_end)


def _score(
    shop: Shop, job: Job, prefer: Preferences, index: int, found: Poured, abraded: bool, low: int
) -> float:
    """Return what a way costs, in pots: new pots, lateness to come, delay, room wasted."""
    late = shop.ahead.late_after(job, index, found.end)
    light = found.board.light * 1e6
    cost = late * prefer.late_minute + found.new + light
    cost += prefer.per_day * (found.end - low) / DAY + 0.05 * abraded
    if found.new < len(job.lifts[index].divisions[0]):
        cost += prefer.per_kg * max(0.0, found.room_kg)
    kept = prefer.keep.get((job.index, index))
    if kept is not None and kept != found.start:
        cost += prefer.move_price
    if prefer.rng is not None and prefer.noise:
        cost += prefer.noise * prefer.rng.random() * 0.5
    return cost


def _least_lift_min(job: Job, index: int) -> int:
    return job.least_gap_min(index) + len(job.lifts[index].divisions[0])


def _commit(
    shop: Shop,
    board: Board,
    job: Job,
    placed: Placed,
    end: int,
    works: list[Work],
    prefer: Preferences,
) -> Board:
    """Take the stand until `end` and write the pour down."""
    if job.pour.same_place and job.parent is not None:
        stands.hand_over(board, job.parent, placed.stand_start)
    board.take_stand(job.index, placed.slot, placed.stand_start, end, job.begun_to)
    late = lateness(job, placed.finish)
    moved: float = sum(
        1 for i, ids in enumerate(placed.pots)
        if ids and prefer.keep.get((job.index, i), -1) not in (-1, _start_of(board, job, ids[0]))
    )  # fmt: skip
    moved += MOVED_STEP * _moved_steps(job, works, prefer)
    board.placed[job.index] = placed._replace(
        works=tuple(works), stand_end=end, late=late, moved=moved
    )
    board.late += late
    board.moved += moved
    board.time += placed.finish
    return board


def _moved_steps(job: Job, works: list[Work], prefer: Preferences) -> int:
    """Return how many steps begin at another time than in the previous plan."""
    starts = prefer.keep_steps.get(job.index)
    if not starts:
        return 0
    chains = {"before": job.before, "after": job.after}
    named = ((chains[w.kind][w.number].step.id, w) for w in works if w.kind in chains)
    return sum(starts.get(id, w.start) != w.start for id, w in named if not w.fixed)


def _start_of(board: Board, job: Job, pot: int) -> int:
    found: Pot = board.pots[job.chemistry.index][pot]
    return next(s.start for s in found.shares if s.job == job.index)
