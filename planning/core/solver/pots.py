"""Find a time, people and a mixer for pots: new ones, and ones that are shared."""

from __future__ import annotations

from typing import NamedTuple

from planning.core.batches import mixed_kg
from planning.core.solver import masks
from planning.core.solver.board import Board, Placed, Pot, Share, pour_minutes
from planning.core.solver.job import Job
from planning.core.solver.shop import Shop


class Poured(NamedTuple):
    """A way to pour one lift: the board with its pots, and their ids in order of pouring."""

    board: Board
    pots: tuple[int, ...]
    start: int
    end: int
    new: int
    room_kg: float
    """Left in the pot that the last portion went into."""


Below = tuple[int, int] | None
"""Latest end the next portion may have by the gel limit, and the end of the one before."""


def not_before(shop: Shop, board: Board, job: int) -> int:
    """Return when the first work of a planned pour may start."""
    parent = shop.parents[job]
    return max(shop.earliest[job], 0 if parent is None else board.placed[parent].finish)


def first_contact(job: Job, found: Poured) -> int:
    """Return when the first of the pots of a lift is mixed."""
    pots = found.board.pots[job.chemistry.index]
    return min(pots[id].contact for id in found.pots)


def signed_by(placed: Placed, lift: int) -> int:
    """Return the end of what is to be signed before a pot of a lift is mixed, 0 for nothing."""
    own = (w.end for w in placed.works
           if w.kind == "before" or (w.kind == "abrade" and w.number == lift))  # fmt: skip
    return max(own, default=0)


def _minutes(job: Job, kg: float) -> tuple[int, int, int]:
    """Return minutes to pour a portion, from start to pouring, and from start to clean."""
    system = job.chemistry.system
    pour = pour_minutes(job, kg)
    lead = system.weigh_min + system.mix_min
    return pour, lead, lead + pour + system.clean_min


def start_mask(shop: Shop, board: Board, job: Job, kg: float, ends_lift: bool) -> int:
    """Return the minutes at which a pot for one portion of `job` may be begun."""
    system = job.chemistry.system
    pour, _, whole = _minutes(job, kg)
    bits = shop.allowed_starts(job.chemistry, pour, ends_lift)
    if not bits:
        return 0
    units, _ = shop.mixers(job.chemistry, kg)
    mixers = 0
    for m in units:
        mixers |= shop.starts_of(board.free, m.unit, whole - system.weigh_min)
    bits &= mixers >> system.weigh_min
    people = shop.group(system.skill)
    return bits & shop.people_starts(board.free, people, system.hands, whole)


def make_pot(
    shop: Shop, board: Board, job: Job, lift: int, kg: float, start: int, sharable: bool
) -> Pot:
    """Put a new pot on the board; `start` comes from `start_mask`."""
    chemistry, system = job.chemistry, job.chemistry.system
    pour, lead, whole = _minutes(job, kg)
    contact = start + system.weigh_min
    people = shop.pick_people(board.free, shop.group(system.skill), system.hands, start, whole)
    mixer = _pick_mixer(shop, board, job, kg, contact, start + whole, sharable)
    _, heavy = shop.mixers(chemistry, kg)
    begin = start + lead
    pot = Pot(
        board.next_id, chemistry.index, mixer, people, start, contact, begin,
        (Share(job.index, lift, kg, begin, begin + pour),),
        begin + pour, start + whole, kg, sharable, not heavy,
        shop.fill(chemistry, kg),
    )  # fmt: skip
    board.next_id += 1
    board.put_pot(pot)
    return pot


def _pick_mixer(
    shop: Shop, board: Board, job: Job, kg: float, contact: int, end: int, sharable: bool
) -> int:
    """Return the largest free mixer for a pot that may be shared, else the smallest."""
    need = masks.span(contact, end)
    units, _ = shop.mixers(job.chemistry, kg)
    free = [m for m in units if board.free[m.unit] & need == need]
    sign = -1 if sharable else 1
    return min(free, key=lambda m: (sign * m.mixer.largest_kg, m.unit)).unit


def pour_new(
    shop: Shop,
    board: Board,
    job: Job,
    lift: int,
    portions: tuple[float, ...],
    low: int,
    below: Below,
    sharable: bool,
) -> Poured | None:
    """
    Pour a lift from new pots, the first portion at `low` or later.

    Batches are wet on wet: when the next one cannot end before the one below has gelled, the one
    below is put later and the search goes on from there.
    """
    begin = not_before(shop, board, job.index)
    lows = [low] * len(portions)
    rate = [_minutes(job, kg) for kg in portions]
    for _ in range(60):
        trial = board.copy()
        pots: list[Pot] = []
        limit, after = below if below else (None, low)
        failed = True
        for i, kg in enumerate(portions):
            pour, lead, _ = rate[i]
            bits = start_mask(shop, trial, job, kg, i == len(portions) - 1)
            start = masks.first(bits, max(begin, lows[i] - lead, after - lead))
            if start < 0:
                return None
            end = start + lead + pour
            if limit is not None and end > limit:
                if i == 0:
                    return None
                # the pot below must be contacted so late that this one still ends in time
                lows[i - 1] = max(lows[i - 1] + 1, pots[-1].pour + end - limit)
                break
            pot = make_pot(shop, trial, job, lift, kg, start, sharable and i == len(portions) - 1)
            pots.append(pot)
            limit = pot.contact + job.chemistry.gel_min(pot.contact)
            after = end
        else:
            failed = False
        if not failed:
            mixer = shop.mixer_of[pots[-1].mixer]
            room = _most_kg(job, mixer.largest_kg) - pots[-1].kg
            ids = tuple(p.id for p in pots)
            return Poured(trial, ids, pots[0].pour, pots[-1].pour_end, len(pots), room)
    return None


def _most_kg(job: Job, largest_kg: float) -> float:
    system = job.chemistry.system
    mixed = min(system.vessel_kg, largest_kg)
    return (mixed - system.residue_fixed_kg) / (1 + system.residue_share)


def joined(
    shop: Shop, board: Board, job: Job, lift: int, kg: float, pot: Pot, last: bool
) -> Pot | None:
    """Return the pot with one more portion, poured last or first, or None where it cannot be."""
    chemistry, system = job.chemistry, job.chemistry.system
    pour = pour_minutes(job, kg)
    extra = pour + system.move_min
    if last:
        begin, pour_end = pot.pour_end + system.move_min, pot.pour_end + extra
        start, contact, end = pot.start, pot.contact, pot.end + extra
        busy_from, busy_until, mixing_from, mixing_until = pot.end, end, pot.end, end
    else:
        begin, pour_end = pot.pour - extra, pot.pour_end
        start, contact, end = pot.start - extra, pot.contact - extra, pot.end
        busy_from, busy_until, mixing_from, mixing_until = start, pot.start, contact, pot.contact
        if start < 0:
            return None
    # the cheap questions first: most pots are refused
    if pour_end - contact > chemistry.life_min(contact):
        return None
    if not shop.pour_clock >> begin & 1 or not shop.attended(chemistry) >> (begin + pour) & 1:
        return None
    free = board.free
    if not masks.covers(free[pot.mixer], mixing_from, mixing_until):
        return None
    for unit in pot.people:
        if not masks.covers(free[unit], busy_from, busy_until):
            return None
    share = Share(job.index, lift, kg, begin, begin + pour)
    shares = (*pot.shares, share) if last else (share, *pot.shares)
    if any(start < not_before(shop, board, s.job) for s in ((share,) if last else shares)):
        return None
    if not last and any(contact < signed_by(board.placed[s.job], s.lift) for s in pot.shares):
        return None
    if any(shop.crosses_shifts(u, start, end) for u in pot.people):
        return None
    total = pot.kg + kg
    least = max(system.least_batch_kg, shop.mixer_of[pot.mixer].least_kg)
    light = mixed_kg(system, total) < least - 1e-9
    return Pot(
        pot.id, pot.system, pot.mixer, pot.people, start, contact,
        pot.pour if last else begin, shares, pour_end, end, total, True, light,
        shop.fill(chemistry, total),
    )  # fmt: skip


def pour_joined(
    shop: Shop,
    board: Board,
    job: Job,
    lift: int,
    portions: tuple[float, ...],
    low: int,
    below: Below,
    pot: Pot,
    last: bool,
) -> Poured | None:
    """Pour a lift with its last portion out of `pot`, the others from new pots just before."""
    wider = joined(shop, board, job, lift, portions[-1], pot, last)
    if wider is None:
        return None
    share = wider.shares[-1 if last else 0]
    trial = board.copy()
    trial.drop_pot(pot)
    trial.put_pot(wider)
    chemistry = job.chemistry
    ids = [pot.id]
    upper_start, upper_end = share.start, share.end
    for i in range(len(portions) - 2, -1, -1):
        pour, lead, _ = _minutes(job, portions[i])
        bits = start_mask(shop, trial, job, portions[i], False)
        start = masks.last(bits, upper_start - lead - pour)
        if start < not_before(shop, board, job.index):
            return None
        contact = start + chemistry.system.weigh_min
        if upper_end > contact + chemistry.gel_min(contact):
            return None
        made = make_pot(shop, trial, job, lift, portions[i], start, False)
        ids.append(made.id)
        upper_start, upper_end = made.pour, made.pour_end
    if upper_start < low:
        return None
    if below and (upper_end > below[0] or upper_start < below[1]):
        return None
    room = _most_kg(job, shop.mixer_of[pot.mixer].largest_kg) - wider.kg
    return Poured(trial, tuple(ids[::-1]), upper_start, share.end, len(portions) - 1, room)


def joinable(
    shop: Shop, board: Board, job: Job, kg: float, low: int, high: int
) -> list[tuple[float, int, Pot]]:
    """Return (room left, start of pouring, pot) of pots that `kg` may go into, best fit first."""
    settings = shop.settings
    chemistry = job.chemistry
    most = min(settings.most_tools_per_batch, chemistry.most_tools)
    found = []
    for pot in board.pots[chemistry.index].values():
        if not pot.open or len(pot.shares) >= most or pot.pour_end < low or pot.pour > high:
            continue
        room = _most_kg(job, shop.mixer_of[pot.mixer].largest_kg) - pot.kg - kg
        if room < -1e-9 or any(s.job == job.index for s in pot.shares):
            continue
        found.append((room, pot.pour, pot))
    found.sort(key=lambda x: x[:2])
    return found
