"""Turn a board into a plan: numbered batches, tasks, stands, lots and figures."""

from __future__ import annotations

from planning.core.batches import mixed_kg
from planning.core.plan import (
    Batch,
    Figures,
    Lift,
    LotUse,
    Plan,
    Portion,
    Stand,
    Task,
    Unplaced,
)
from planning.core.solver import ovens
from planning.core.solver.board import Board, Placed, Pot, Work
from planning.core.solver.case import Case
from planning.core.solver.frozen import facts_only
from planning.core.solver.job import Job


def make_plan(
    case: Case,
    board: Board,
    lots: dict[int, tuple[LotUse, ...]],
    unplaced: tuple[Unplaced, ...],
    lateness_bound: int = 0,
    pots_bound: int = 0,
) -> Plan:
    """
    Write a board down as a plan.

    Parameters
    ----------
    lots : dict
        Lots by pot id.
    unplaced : tuple of Unplaced
        Every pour that is not on the board.
    """
    frozen = facts_only(case.problem, case.frozen, {u.pour for u in unplaced})
    batches = [*frozen.batches, *_batches(case, board, lots)]
    batches.sort(key=lambda b: (b.start_min, b.id))
    tasks = [*frozen.tasks]
    lifts = {(x.pour, x.lift): x for x in frozen.lifts}
    stands: dict[str, Stand] = {s.pour: s for s in frozen.stands}
    for index, placed in sorted(board.placed.items()):
        job = case.jobs[index]
        tasks += [_task(case, job, w) for w in placed.works if not w.fixed]
        for lift in job.lifts:
            lifts.setdefault((lift.lift.pour, lift.lift.lift), lift.lift)
        stands[job.pour.id] = _stand(case, board, job, placed)
    tasks.sort(key=lambda t: (t.start_min, t.pour, t.kind, t.step))
    return Plan(
        lifts=tuple(lifts[k] for k in sorted(lifts)),
        batches=tuple(batches),
        tasks=tuple(tasks),
        stands=tuple(stands[k] for k in sorted(stands)),
        unplaced=unplaced,
        figures=_figures(case, board, batches, len(unplaced), lateness_bound, pots_bound),
    )


def _batches(case: Case, board: Board, lots: dict[int, tuple[LotUse, ...]]) -> list[Batch]:
    pots = sorted(
        (pot for pots in board.pots for pot in pots.values()),
        key=lambda p: (p.start, p.mixer, p.people),
    )
    taken = {b.id for b in case.frozen.batches}
    names = {
        (b.system, frozenset((p.pour, p.lift) for p in b.portions)): b.id
        for b in (case.problem.previous.batches if case.problem.previous else ())
    }
    made, number = [], 0
    for pot in pots:
        shares = frozenset((case.jobs[s.job].pour.id, s.lift) for s in pot.shares)
        id = names.get((case.shop.systems[pot.system].system.id, shares), "")
        while not id or id in taken:
            number += 1
            id = f"B{number:03d}"
            if id in names.values():
                id = ""
        taken.add(id)
        made.append(_batch(case, pot, id, lots.get(pot.id, ())))
    return made


def _batch(case: Case, pot: Pot, id: str, lots: tuple[LotUse, ...]) -> Batch:
    shop = case.shop
    system = shop.systems[pot.system].system
    return Batch(
        id=id,
        system=system.id,
        mixer=shop.mixer_of[pot.mixer].id,
        people=_people(case, pot.people),
        start_min=pot.start,
        contact_min=pot.contact,
        pour_start_min=pot.pour,
        pour_end_min=pot.pour_end,
        end_min=pot.end,
        mixed_kg=mixed_kg(system, pot.kg),
        portions=tuple(
            Portion(case.jobs[s.job].pour.id, s.lift, s.kg, s.start, s.end) for s in pot.shares
        ),
        lots=lots,
    )


def _people(case: Case, units: tuple[int, ...]) -> tuple[str, ...]:
    return tuple(sorted(case.problem.people[case.shop.person_of[u]].id for u in units))


def _task(case: Case, job: Job, work: Work) -> Task:
    own = {"before": job.before, "after": job.after}.get(work.kind)
    oven = case.shop.ovens[work.oven].id if work.oven != ovens.NO_OVEN else ""
    return Task(
        pour=job.pour.id,
        kind=work.kind,  # type: ignore[arg-type]
        step=own[work.number].step.id if own else "",
        people=_people(case, work.people),
        start_min=work.start,
        end_min=work.end,
        lift=None if own else work.number,
        oven=oven,
        oven_start_min=work.oven_start if oven else None,
    )


def _stand(case: Case, board: Board, job: Job, placed: Placed) -> Stand:
    end = placed.finish
    for child in job.children:
        if case.jobs[child].pour.same_place and child in board.placed:
            end = max(end, board.placed[child].stand_start)
    return Stand(job.pour.id, case.shop.place_of[placed.slot], placed.stand_start, end)


def _figures(
    case: Case, board: Board, batches: list[Batch], unplaced: int, late_bound: int, pots_bound: int
) -> Figures:
    poured = sum(p.kg for b in batches for p in b.portions)
    late = sum(p.late for p in board.placed.values())
    return Figures(
        unplaced=unplaced,
        lateness=late,
        pots=len(batches),
        residue_kg=round(sum(b.mixed_kg for b in batches) - poured, 6),
        finish_min=max((p.finish for p in board.placed.values()), default=0),
        lateness_bound=min(late_bound, late),
        pots_bound=min(pots_bound, len(batches)),
    )


def lifts_of(plan: Plan, pour: str) -> tuple[Lift, ...]:
    """Return the lifts of one pour, from the bottom up."""
    return tuple(x for x in plan.lifts if x.pour == pour)
