"""Make each pour ready for planning: cut it into lifts, divide them, find what is fixed."""

from __future__ import annotations

from dataclasses import dataclass

from planning.core.batches import (
    GRAM,
    divide,
    largest_by_vessel_kg,
    mixers_for,
    usable_batches_kg,
)
from planning.core.lifts import NoLifts, split
from planning.core.plan import Batch, Frozen, Lift, Portion, Stand, Task
from planning.core.problem import Pour, Step
from planning.core.solver.chemistry import Chemistry
from planning.core.solver.job import Job, LiftJob, StepJob, head_min
from planning.core.solver.shop import Shop


@dataclass(frozen=True)
class Fixed:
    """Frozen work, by pour."""

    tasks: dict[tuple[str, str, str, int | None], Task]
    portions: dict[tuple[str, int], tuple[tuple[Batch, Portion], ...]]
    lifts: dict[str, tuple[Lift, ...]]
    stands: dict[str, Stand]

    @classmethod
    def of(cls, frozen: Frozen) -> Fixed:
        portions: dict[tuple[str, int], list[tuple[Batch, Portion]]] = {}
        for batch in frozen.batches:
            for portion in batch.portions:
                portions.setdefault((portion.pour, portion.lift), []).append((batch, portion))
        lifts: dict[str, list[Lift]] = {}
        for lift in sorted(frozen.lifts, key=lambda x: (x.pour, x.lift)):
            lifts.setdefault(lift.pour, []).append(lift)
        return cls(
            {(t.pour, t.kind, t.step, t.lift): t for t in frozen.tasks},
            {k: tuple(sorted(v, key=lambda x: x[1].start_min)) for k, v in portions.items()},
            {k: tuple(v) for k, v in lifts.items()},
            {s.pour: s for s in frozen.stands},
        )


def make_jobs(shop: Shop, fixed: Fixed) -> list[Job]:
    """Prepare every pour; those that cannot be planned at all carry their trouble."""
    problem = shop.problem
    index_of = {p.id: i for i, p in enumerate(problem.pours)}
    jobs: list[Job] = []
    for index, pour in enumerate(problem.pours):
        chemistry = shop.systems[shop.system_index[pour.system]]
        job = Job(
            index=index,
            pour=pour,
            chemistry=chemistry,
            before=_steps(shop, pour.id, "before", pour.before, fixed),
            after=_steps(shop, pour.id, "after", pour.after, fixed),
            lifts=(),
            parent=None if pour.stands_on is None else index_of[pour.stands_on],
            stand=fixed.stands.get(pour.id),
        )
        job.trouble = _make_lifts(shop, job, fixed) or _staff_trouble(shop, job)
        least_cure = min(c.cure_min for c in chemistry.conditions)
        job.cure_min = max(least_cure, pour.cure_min or 0)
        job.tail_min = job.cure_min + sum(s.hands_min + s.wait_min for s in pour.after)
        jobs.append(job)
    for job in jobs:
        if job.parent is not None:
            jobs[job.parent].children.append(job.index)
            if job.pour.same_place:
                jobs[job.parent].keeps_place = True
    _hand_up_troubles(jobs)
    for job in jobs:
        _inherit(jobs, job)
    return jobs


def _steps(
    shop: Shop, pour: str, kind: str, steps: tuple[Step, ...], fixed: Fixed
) -> tuple[StepJob, ...]:
    return tuple(
        StepJob(s, kind, shop.group(s.skill), fixed.tasks.get((pour, kind, s.id, None)))
        for s in steps
    )


def _make_lifts(shop: Shop, job: Job, fixed: Fixed) -> tuple[str, str] | None:
    pour, chemistry = job.pour, job.chemistry
    system = chemistry.system
    sizes = usable_batches_kg(shop.problem, system)
    if not sizes:
        return _pot_trouble(shop, job)
    try:
        lifts = split(pour, system, shop.settings, sizes[0], fixed.lifts.get(pour.id, ()))
    except NoLifts as error:
        return "lift_depth", f"{str(error)[0].upper()}{str(error)[1:]}."
    job.lifts = tuple(_lift_job(shop, chemistry, x, sizes, fixed) for x in lifts)
    return _gap_trouble(shop, job)


def _gap_trouble(shop: Shop, job: Job) -> tuple[str, str] | None:
    """Name a lift over which no other can be poured within the planned days."""
    for index, lift in enumerate(job.lifts):
        if not lift.fixed and job.least_gap_min(index) >= shop.problem.horizon_min:
            return (
                "lift_gap",
                f"{_name(job.pour)}: lift {index + 1} cannot follow the one below it in the "
                "planned days, by the clock that this one will have. Warm the shop, or plan other "
                "depths.",
            )
    return None


def _pot_trouble(shop: Shop, job: Job) -> tuple[str, str]:
    """Say why no pot of a system, however small, can be poured."""
    system = job.chemistry.system
    name, own = _name(job.pour), system.name or system.id
    mixers = mixers_for(shop.problem, system)
    if not mixers:
        what = f"no mixer may be used for {own}" if shop.problem.mixers else "there is no mixer"
        return "mixer_busy", f"{name}: {what}."
    if max(largest_by_vessel_kg(system, m) for m in mixers) < GRAM:
        return "batch_mass", f"{name}: what stays in the pot of {own} is more than a pot holds."
    return (
        "pot_life",
        f"{name}: no mixer can take a pot of {own} and pour it within its pot life.",
    )


def _lift_job(
    shop: Shop, chemistry: Chemistry, lift: Lift, sizes: tuple[float, ...], fixed: Fixed
) -> LiftJob:
    have = fixed.portions.get((lift.pour, lift.lift), ())
    rest = lift.mass_kg - sum(p.kg for _, p in have)
    divisions: list[tuple[float, ...]] = []
    if rest > 1e-6:
        for size in sizes:
            d = divide(rest, size, chemistry.least_kg, shop.settings.equal_batches)
            if len(d) not in {len(x) for x in divisions}:
                divisions.append(d)
    abraded = fixed.tasks.get((lift.pour, "abrade", "", lift.lift))
    return LiftJob(lift, tuple(divisions) or ((),), have, abraded)


def _staff_trouble(shop: Shop, job: Job) -> tuple[str, str] | None:
    """Name a skill nobody has, or a kind of place that is not there."""
    pour = job.pour
    asked = [
        (s.step.skill, s.step.hands, s.step.name)
        for s in (*job.before, *job.after)
        if s.fixed is None and s.step.hands_min > 0
    ]
    if any(d for lift in job.lifts for d in lift.divisions[0]):
        system = job.chemistry.system
        asked.append((system.skill, system.hands, "mixing"))
    for skill, hands, what in asked:
        have = len(shop.group(skill))
        if have < hands:
            name = f"with skill {skill!r}" if skill else "at work"
            asks = "1 person" if hands == 1 else f"{hands} people"
            return "skill", f"{_name(pour)}: {what} takes {asks} {name}; the shop has {have}."
    if job.stand is None and pour.place_kind not in shop.slots:
        return (
            "place",
            f"{_name(pour)}: asks for a place of kind {pour.place_kind!r}; the shop has none.",
        )
    needs_oven = any(s.step.oven_cycle and s.fixed is None for s in (*job.before, *job.after))
    if needs_oven and not shop.ovens:
        return "oven", f"{_name(pour)}: a step waits in an oven; the shop has none."
    return None


def _name(pour: Pour) -> str:
    return pour.name or pour.id


def _hand_up_troubles(jobs: list[Job]) -> None:
    """Give a trouble to pours that stand on one with a trouble."""
    for job in jobs:
        at = job.parent
        while at is not None:
            if jobs[at].trouble and not job.trouble:
                words = f"{_name(job.pour)}: {_name(jobs[at].pour)} below it is not planned."
                job.trouble = ("stands_on", words)
            at = jobs[at].parent


def _inherit(jobs: list[Job], job: Job) -> None:
    """Give each pour below this one the due date it must be done by for this one's sake."""
    pour = job.pour
    due, at = pour.due_min, job
    job.dues.append((due, pour.weight))
    while at.parent is not None:
        due -= at.tail_min + head_min(at)
        at = jobs[at.parent]
        at.dues.append((due, pour.weight))
