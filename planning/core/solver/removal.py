"""Take pours off the board, and close the gaps they leave in shared pots."""

from __future__ import annotations

import itertools

from planning.core.batches import mixed_kg
from planning.core.solver import masks, ovens, stands, steps
from planning.core.solver.board import Board, Placed, Pot, Share, pour_minutes
from planning.core.solver.job import Job
from planning.core.solver.pots import Poured, not_before, signed_by
from planning.core.solver.shop import Shop


def with_dependants(jobs: list[Job], board: Board, wanted: set[int]) -> set[int]:
    """Return the pours to take off: with all that stand on them, and what shares their place."""
    found: set[int] = set()
    todo = [w for w in sorted(wanted) if w in board.placed]
    while todo:
        index = todo.pop()
        if index in found:
            continue
        found.add(index)
        job = jobs[index]
        todo += [c for c in job.children if c in board.placed]
        if job.pour.same_place and job.parent is not None:
            todo.append(job.parent)
    return found


def remove(shop: Shop, jobs: list[Job], board: Board, wanted: set[int]) -> set[int]:
    """
    Take pours off the board in place.

    A pour whose portion cannot be moved to close the gap in its pot comes off as well.

    Returns
    -------
    set of int
        Every pour that was taken off.
    """
    gone: set[int] = set()
    todo = with_dependants(jobs, board, wanted)
    while todo:
        touched: dict[int, set[int]] = {}
        for index in sorted(todo):
            _take_off(shop, jobs[index], board, touched)
        stands.keep(shop, board, [jobs[index] for index in sorted(todo)])
        gone |= todo
        stuck: set[int] = set()
        for system, ids in sorted(touched.items()):
            for id in sorted(ids):
                pot = board.pots[system].get(id)
                if pot is not None:
                    stuck |= _close_gaps(shop, jobs, board, pot, gone)
        todo = with_dependants(jobs, board, stuck) - gone
    return gone


def _take_off(shop: Shop, job: Job, board: Board, touched: dict[int, set[int]]) -> None:
    placed = board.placed.pop(job.index)
    board.late -= placed.late
    board.moved -= placed.moved
    board.time -= placed.finish
    board.release((placed.slot,), placed.stand_start, placed.stand_end)
    for work in placed.works:
        if work.fixed:
            continue
        board.release(work.people, work.start, work.end)
        if work.oven != ovens.NO_OVEN:
            ovens.unload(board, work.oven, work.oven_start)
    system = job.chemistry.index
    for ids in placed.pots:
        for id in ids:
            pot = board.pots[system].get(id)
            if pot is None or all(s.job != job.index for s in pot.shares):
                continue
            if len(pot.shares) == 1:
                board.drop_pot(pot)
            else:
                touched.setdefault(system, set()).add(id)


def _close_gaps(shop: Shop, jobs: list[Job], board: Board, pot: Pot, gone: set[int]) -> set[int]:
    """Rebuild a pot without the portions of pours that are gone; return pours that are stuck."""
    kept = [s for s in pot.shares if s.job not in gone]
    if not kept:
        board.drop_pot(pot)
        return set()
    system = jobs[kept[0].job].chemistry.system
    board.drop_pot(pot)
    for anchor in _anchors(pot, kept):
        shares = _packed(kept, anchor, system.move_min)
        made = _rebuilt(shop, jobs, pot, shares)
        moved = [(a, b) for a, b in zip(kept, shares, strict=True) if a.start != b.start]
        if (
            made is not None
            and _fits(board, made)
            and all(_may_move(shop, jobs, board, made, a, b) for a, b in moved)
        ):
            board.put_pot(made)
            for _, share in moved:
                _refinish(shop, board, share)
            return set()
    # nothing fits: keep the longest run that can stay where it is, the rest comes off
    run = _longest_run(pot, kept)
    made = _rebuilt(shop, jobs, pot, run)
    if made is None or not _fits(board, made):
        return {s.job for s in kept}
    board.put_pot(made)
    return {s.job for s in kept} - {s.job for s in run}


def _anchors(pot: Pot, kept: list[Share]) -> list[tuple[int, int]]:
    """Return (index, start) of the portion that stays: first and last one, in turn."""
    return [(i, kept[i].start) for i in dict.fromkeys((0, len(kept) - 1))]


def _packed(kept: list[Share], anchor: tuple[int, int], move: int) -> list[Share]:
    """Return the portions without gaps, portion `anchor` at its time."""
    index, start = anchor
    lengths = [s.end - s.start for s in kept]
    begin = start - sum(lengths[:index]) - move * index
    shares = []
    for share, length in zip(kept, lengths, strict=True):
        shares.append(share._replace(start=begin, end=begin + length))
        begin += length + move
    return shares


def _rebuilt(shop: Shop, jobs: list[Job], pot: Pot, shares: list[Share]) -> Pot | None:
    chemistry = jobs[shares[0].job].chemistry
    system = chemistry.system
    pour, pour_end = shares[0].start, shares[-1].end
    contact = pour - system.mix_min
    if pour_end - contact > chemistry.life_min(contact):
        return None
    kg = sum(s.kg for s in shares)
    least = max(system.least_batch_kg, shop.mixer_of[pot.mixer].least_kg)
    light = mixed_kg(system, kg) < least - 1e-9
    return pot._replace(
        start=contact - system.weigh_min,
        contact=contact,
        pour=pour,
        shares=tuple(shares),
        pour_end=pour_end,
        end=pour_end + system.clean_min,
        kg=kg,
        light=light,
        fill=shop.fill(chemistry, kg),
    )


def _fits(board: Board, pot: Pot) -> bool:
    need = masks.span(pot.start, pot.end)
    if any(board.free[u] & need != need for u in pot.people):
        return False
    need = masks.span(pot.contact, pot.end)
    return board.free[pot.mixer] & need == need


def _may_move(shop: Shop, jobs: list[Job], board: Board, pot: Pot, old: Share, new: Share) -> bool:
    """Return whether a portion may be poured at its new time as far as its own pour goes."""
    job = jobs[new.job]
    placed = board.placed[new.job]
    chemistry = job.chemistry
    if len(placed.pots[new.lift]) > 1 or job.lifts[new.lift].fixed:
        return False
    if not shop.pour_clock >> new.start & 1 or not shop.attended(chemistry) >> new.end & 1:
        return False
    parent = 0 if job.parent is None else board.placed[job.parent].finish
    if pot.start < max(shop.earliest[job.index], parent):
        return False
    if pot.contact < signed_by(placed, new.lift):
        return False
    return _below_ok(shop, job, board, placed, new) and _above_ok(job, placed, board, new)


def _below_ok(shop: Shop, job: Job, board: Board, placed: Placed, new: Share) -> bool:
    if new.lift == 0:
        befores = [w for w in placed.works if w.kind == "before"]
        if not any(s.step.holds_place for s in job.before):
            if job.pour.same_place or job.stand is not None:
                return False
            need = masks.span(new.start, placed.stand_start)
            if board.free[placed.slot] & need != need:
                return False
        if not befores:
            return True
        last, step = befores[-1], job.before[-1]
        limits = (step.step.longest_wait_min, shop.settings.coat_to_pour_most_min)
        longest = min((x for x in limits if x is not None), default=None)
        wait = new.start - last.end
        return steps.ready_after(step, last) <= new.start and (longest is None or wait <= longest)
    below = _span(job, board, placed, new.lift - 1)
    return below is not None and _gap_ok(job, placed, new.lift, below[1], new.start)


def _above_ok(job: Job, placed: Placed, board: Board, new: Share) -> bool:
    if new.lift + 1 < len(job.lifts):
        above = _span(job, board, placed, new.lift + 1)
        return above is not None and _gap_ok(job, placed, new.lift + 1, new.end, above[0])
    cured = new.end + max(job.chemistry.at(new.end).cure_min, job.pour.cure_min or 0)
    afters = [w for w in placed.works if w.kind == "after"]
    if afters:
        return cured <= afters[0].start
    if cured <= placed.finish:
        return True
    need = masks.span(placed.finish, cured)
    return not job.children and board.free[placed.slot] & need == need


def _span(job: Job, board: Board, placed: Placed, lift: int) -> tuple[int, int] | None:
    begin = [p.start_min for _, p in job.lifts[lift].fixed]
    finish = [p.end_min for _, p in job.lifts[lift].fixed]
    pots = board.pots[job.chemistry.index]
    for id in placed.pots[lift]:
        pot = pots.get(id)
        if pot is None:
            return None
        for share in pot.shares:
            if share.job == job.index:
                begin.append(share.start)
                finish.append(share.end)
    return (min(begin), max(finish)) if begin else None


def _gap_ok(job: Job, placed: Placed, lift: int, end: int, start: int) -> bool:
    ready, closes = job.gap(lift, end)
    abrades = [w for w in placed.works if w.kind == "abrade" and w.number == lift]
    if start < ready or any(w.start < ready or w.end > start for w in abrades):
        return False  # abrading stays where it is, needed or not
    return bool(abrades) or start <= closes


def pour_ahead(
    shop: Shop, board: Board, job: Job, lift: int, kg: float, low: int, pot: Pot
) -> Poured | None:
    """Pour a portion first from a pot that keeps its start; the others are poured later."""
    system = job.chemistry.system
    later = pour_minutes(job, kg) + system.move_min
    begin = pot.pour
    first = Share(job.index, lift, kg, begin, begin + later - system.move_min)
    moved = [s._replace(start=s.start + later, end=s.end + later) for s in pot.shares]
    if begin < low or pot.start < not_before(shop, board, job.index):
        return None
    if not shop.pour_clock >> begin & 1 or not shop.attended(job.chemistry) >> first.end & 1:
        return None
    jobs = shop.jobs
    made = _rebuilt(shop, jobs, pot, [first, *moved])
    if made is None or any(shop.crosses_shifts(u, made.start, made.end) for u in made.people):
        return None
    trial = board.copy()
    trial.drop_pot(pot)
    if not _fits(trial, made) or not all(
        _may_move(shop, jobs, board, made, a, b) for a, b in zip(pot.shares, moved, strict=True)
    ):
        return None
    trial.put_pot(made)
    for share in moved:
        _refinish(shop, trial, share)
    room = shop.mixer_of[pot.mixer].largest_kg - made.kg
    return Poured(trial, (pot.id,), begin, first.end, 0, room)


def _refinish(shop: Shop, board: Board, share: Share) -> None:
    """Move the stand of a pour whose first or last lift moved, where no step holds it."""
    job = shop.jobs[share.job]
    placed = board.placed[share.job]
    if share.lift == 0 and not any(s.step.holds_place for s in job.before):
        board.release((placed.slot,), placed.stand_start, share.start)
        board.reserve((placed.slot,), share.start, placed.stand_start)
        placed = board.placed[share.job] = placed._replace(stand_start=share.start)
    if job.after or share.lift + 1 < len(job.lifts):
        return
    cured = share.end + max(job.chemistry.at(share.end).cure_min, job.pour.cure_min or 0)
    ovens.set_finish(shop, board, share.job, cured)


def _longest_run(pot: Pot, kept: list[Share]) -> list[Share]:
    """Return the heaviest run of portions that were poured one after another."""
    place = {s.job: i for i, s in enumerate(pot.shares)}
    runs: list[list[Share]] = [[kept[0]]]
    for a, b in itertools.pairwise(kept):
        if place[b.job] == place[a.job] + 1:
            runs[-1].append(b)
        else:
            runs.append([b])
    return max(runs, key=lambda r: sum(s.kg for s in r))
