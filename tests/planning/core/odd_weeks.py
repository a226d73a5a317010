"""
Odd small weeks, drawn at random, of three designs other than the benchmark's generator.

*Crowded*: few cans of every kind, several short shifts, closures of everything, ovens with several
cycles. *Long*: thick castings in many lifts over two weeks, one or two people, matched halves in
one place, steps of no length. Most pours of these two have no place; *roomy* has more of
everything for more pours, so that most have one. Each week can slip: time passes, part of it is
frozen or pinned, people, mixers, ovens and places go away, pours come and go. Nothing here is
measured in a shop.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from planning.core.plan import Frozen, Plan, Problem
from planning.core.problem import (
    Condition,
    Container,
    Layer,
    Limits,
    Lot,
    Mixer,
    Person,
    Place,
    Pour,
    Settings,
    Step,
    System,
    Window,
)
from planning.core.whatif import warmer_shop, without_person

DAY = 1440


@dataclass(frozen=True)
class Design:
    """What the weeks of one design are drawn from; tuples are choices, each as likely."""

    days: int
    pours: tuple[int, int]
    lifts: tuple[int, int]
    people: tuple[int, ...]
    begins: tuple[int, ...]
    """Minute of the day at which a person begins."""
    deepest_mm: tuple[float, ...]
    ovens: tuple[int, ...]
    cycles: tuple[str, ...]
    longest_min: tuple[int | None, ...]
    can_share: tuple[float, ...]
    """Size of a can as a share of all that is poured."""
    closed: float
    """How often a place is closed for a while, as a share of how often it is in a crowded week."""
    work: tuple[int, ...]


CYCLES = ("", "", "", "50C", "80C")
CROWDED = Design(
    6, (4, 10), (1, 4), (2, 3, 4), (360, 420, 480, 780), (30.0, 60.0), (0, 1, 1, 2, 3), CYCLES,
    (None, None, 200, 1500, 3000), (0.05, 0.3, 0.8), 1.0, (0, 15, 40),
)  # fmt: skip
DESIGNS = {
    "crowded": CROWDED,
    "long": replace(
        CROWDED, days=12, pours=(3, 7), lifts=(2, 9), people=(1, 2), deepest_mm=(20.0, 30.0)
    ),
    "roomy": replace(
        CROWDED, days=12, pours=(7, 14), people=(4, 5), begins=(360, 420, 480), ovens=(2, 3, 4),
        cycles=("", "", "", "", *CYCLES), longest_min=(None, None, None, 1500, 3000),
        can_share=(0.3, 0.8), closed=0.4, work=(0, 40, 150),
    ),
}  # fmt: skip


def odd_week(design: str, seed: int) -> Problem:
    """Return a week of 3 to 14 pours."""
    rng = random.Random(f"{design}/{seed}")
    drawn = DESIGNS[design]
    days = drawn.days
    systems = tuple(_system(rng, n, drawn) for n in range(rng.choice((1, 2, 2))))
    pours = _pours(rng, systems, drawn)
    return Problem(
        origin="2026-11-30T00:00:00Z",
        horizon_min=days * DAY,
        people=_people(rng, drawn),
        mixers=tuple(
            Mixer(
                f"M{n}", rng.choice((6.0, 9.0, 14.0)), rng.choice((0.0, 0.0, 0.5)),
                count=rng.choice((1, 1, 2)), closed=_closed(rng, days, 0.2),
            )
            for n in range(rng.choice((1, 2)))
        ),
        places=_places(rng, drawn),
        systems=systems,
        pours=pours,
        lots=_lots(rng, systems, pours, drawn),
        check_lots=rng.random() < 0.9,
        staffed=tuple((d * DAY + 360, d * DAY + 1380) for d in range(days))
        if rng.random() < 0.5 else (),
        settings=Settings(
            pot_life_factor=rng.choice((0.8, 0.9, 1.0)),
            most_tools_per_batch=rng.choice((1, 2, 4)),
            equal_batches=rng.random() < 0.2,
            extra_lifts=rng.choice((0, 0, 1)),
            overdue_lift=rng.choice(("abrade", "abrade", "forbid")),
            last_pour_clock_min=rng.choice((None, None, 900)),
            coat_to_pour_most_min=rng.choice((None, None, 600, 2880)),
            lot_rule=rng.choice(("one_pair", "first_expired")),
            late_minutes_per_pot=rng.choice((None, None, 60.0)),
        ),
        limits=Limits(60.0, seed, work=rng.choice(drawn.work)),
    )  # fmt: skip


def _closed(rng: random.Random, days: int, often: float) -> tuple[Window, ...]:
    if rng.random() >= often:
        return ()
    start = rng.randrange(days * DAY)
    return ((start, start + rng.choice((90, 600, 2 * DAY, days * DAY))),)


def _people(rng: random.Random, drawn: Design) -> tuple[Person, ...]:
    people = []
    for n in range(rng.choice(drawn.people)):
        begin = rng.choice(drawn.begins)
        shifts: list[Window] = []
        for day in range(drawn.days):
            if day % 7 >= 5 or rng.random() < 0.1:
                continue
            at = day * DAY + begin
            halves = ((at, at + 240), (at + rng.choice((240, 270)), at + 500))
            shifts += halves if rng.random() < 0.8 else halves[:1]
        skills = ("mix", "coat") if n == 0 or rng.random() < 0.6 else ("coat",)
        people.append(Person(f"T{n}", tuple(shifts), skills, count=rng.choice((1, 1, 1, 2))))
    return tuple(people)


def _places(rng: random.Random, drawn: Design) -> tuple[Place, ...]:
    days, often = drawn.days, drawn.closed
    ovens = [
        Place(f"oven-{n}", "oven", rng.choice((1, 2, 3)), _closed(rng, days, 0.3 * often))
        for n in range(rng.choice(drawn.ovens))
    ]
    return (
        Place("bench-a", "bench", rng.choice((1, 2, 4)), _closed(rng, days, 0.15 * often)),
        Place("bench-b", "bench", rng.choice((1, 3))),
        Place("floor", "floor", rng.choice((1, 2)), _closed(rng, days, 0.15 * often)),
        *ovens,
    )


def _system(rng: random.Random, n: int, drawn: Design) -> System:
    life = rng.choice((25, 45, 90))
    base = {
        "pot_life_min": life, "gel_limit_min": life + rng.choice((0, 20, 60)),
        "gap_least_min": rng.choice((0, 60, 240)),
        "gap_greatest_min": rng.choice((400, 1000, 3000)),
        "attend_min": rng.choice((0, 0, 60, 120)), "cure_min": rng.choice((300, 900, 1500)),
    }  # fmt: skip
    conditions = [Condition(from_min=0, **base)]
    if rng.random() < 0.5:
        warm = {k: max(1, round(v * 0.8)) for k, v in base.items()}
        conditions.append(Condition(from_min=rng.choice((1, 2, 3)) * DAY, **warm))
    return System(
        id=f"S{n}", resin=f"R{n}", hardener=rng.choice((f"H{n}", "H0")),
        hardener_per_100=rng.choice((10.0, 20.0, 50.0)), conditions=tuple(conditions),
        deepest_lift_mm=rng.choice(drawn.deepest_mm),
        weigh_min=rng.choice((0, 6, 15)), mix_min=rng.choice((2, 5)), clean_min=rng.choice((0, 8)),
        pour_rate_kg_min=rng.choice((0.8, 1.5)), move_min=rng.choice((0, 2)),
        vessel_kg=rng.choice((8.0, 12.0, 1e9)), least_batch_kg=rng.choice((0.0, 0.0, 1.0)),
        residue_fixed_kg=rng.choice((0.0, 0.1)), residue_share=rng.choice((0.0, 0.02)),
        abrade_min=rng.choice((0, 15)), hands=rng.choice((1, 1, 1, 2)), skill="mix",
    )  # fmt: skip


def _steps(rng: random.Random, drawn: Design, kind: str) -> tuple[Step, ...]:
    found = []
    for n in range(rng.choice((0, 1, 2, 3))):
        wait = rng.choice((0, 0, 20, 120))
        oven = rng.choice(drawn.cycles)
        longest = rng.choice(drawn.longest_min)
        if oven:
            wait = rng.choice((0, 60, 300, 700))
        found.append(
            Step(
                f"{kind}{n}", f"{kind} {n}", rng.choice((0, 5, 15, 40)), wait,
                rng.choice(("", "coat")), rng.choice((1, 1, 1, 2)),
                None if longest is None else max(longest, wait),
                rng.random() < 0.7, oven,
            )
        )  # fmt: skip
    return tuple(found)


def _pours(rng: random.Random, systems: tuple[System, ...], drawn: Design) -> tuple[Pour, ...]:
    pours: list[Pour] = []
    days, wanted = drawn.days, rng.randint(*drawn.pours)
    while len(pours) < wanted:
        layers = rng.randint(*drawn.lifts)
        kg = rng.choice((0.3, 1.0, 2.5))
        lower = Pour(
            id=f"P{len(pours)}", system=rng.choice(systems).id,
            layers=tuple(Layer(10.0, round(kg * rng.uniform(0.6, 1.4), 3)) for _ in range(layers)),
            place_kind=rng.choice(("bench", "bench", "floor")),
            due_min=rng.randrange(days) * DAY + 1000, before=_steps(rng, drawn, "pre"),
            after=_steps(rng, drawn, "post"), earliest_min=rng.choice((0, 0, DAY, 2 * DAY + 500)),
            weight=rng.choice((1, 2)), may_share=rng.random() < 0.9,
            deepest_lift_mm=rng.choice((None, None, 20.0)),
            cure_min=rng.choice((None, None, 1200)),
        )  # fmt: skip
        pours.append(lower)
        while rng.random() < 0.35 and len(pours) < wanted:
            lower = replace(
                lower, id=f"P{len(pours)}", stands_on=lower.id, same_place=rng.random() < 0.6,
                before=_steps(rng, drawn, "pre"), after=_steps(rng, drawn, "post"),
            )  # fmt: skip
            pours.append(lower)
    return tuple(pours)


def _lots(
    rng: random.Random, systems: tuple[System, ...], pours: tuple[Pour, ...], drawn: Design
) -> tuple[Lot, ...]:
    """Return cans opened and sealed, fresh and old, here and to come, mostly enough."""
    kg = 1.3 * sum(p.mass_kg for p in pours) + 3
    lots, days = [], drawn.days
    for material in sorted({m for s in systems for m in (s.resin, s.hardener)}):
        for n in range(rng.choice((1, 2, 3))):
            cans = []
            for can in range(rng.choice((1, 2, 4))):
                opened = rng.random() < 0.3
                cans.append(
                    Container(
                        f"c{can}", round(kg * rng.choice(drawn.can_share), 3),
                        rng.choice((2, days // 2, days, 60)) * DAY, opened,
                        None if opened else rng.choice((None, DAY, 2 * DAY, 30 * DAY)),
                        rng.choice((0, 0, 0, DAY + 480, 3 * DAY)),
                    )
                )  # fmt: skip
            lots.append(Lot(f"{material}/{n}", material, tuple(cans)))
    return tuple(lots)


def slipped(problem: Problem, plan: Plan, seed: int, turn: int) -> Problem:
    """Return the week some hours later, part of it begun, pinned, gone away or added."""
    rng = random.Random(f"{seed}/{turn}")
    now = max(problem.settings.freeze_until_min, 0) + rng.choice((200, 480, 700, DAY))
    changed = replace(
        problem,
        previous=plan,
        settings=replace(problem.settings, freeze_until_min=now),
        frozen=_pinned(rng, problem, plan),
    )
    if rng.random() < 0.5:
        person = rng.choice(problem.people)
        if "~" not in person.id:
            changed = without_person(
                changed, person.id, now, now + rng.choice((300, DAY, 3 * DAY))
            )
            ids = [p.id for p in changed.people]
            people = tuple(p for n, p in enumerate(changed.people) if ids.index(p.id) == n)
            changed = replace(changed, people=people)
    window = (now, now + rng.choice((200, DAY, 4 * DAY)))
    if rng.random() < 0.4:
        own = rng.choice(changed.mixers)
        changed = replace(
            changed,
            mixers=tuple(
                replace(m, closed=(*m.closed, window)) if m is own else m for m in changed.mixers
            ),
        )
    if rng.random() < 0.4:
        place = rng.choice(changed.places)
        changed = replace(
            changed,
            places=tuple(
                replace(p, closed=(*p.closed, window)) if p is place else p for p in changed.places
            ),
        )
    if rng.random() < 0.4:
        rush = replace(
            problem.pours[0], id=f"RUSH{turn}", stands_on=None, same_place=False,
            earliest_min=now, due_min=now + 2 * DAY, weight=3,
        )  # fmt: skip
        changed = replace(changed, pours=(*changed.pours, rush))
    return warmer_shop(changed, rng.choice((0.85, 1.0, 1.0, 1.15)))


def _pinned(rng: random.Random, problem: Problem, plan: Plan) -> Frozen:
    """Return frozen work as it was, and perhaps a first pot more, with its lift and its steps."""
    frozen = problem.frozen
    held = {b.id for b in frozen.batches}
    below = {p.stands_on for p in problem.pours}
    free = [
        b for b in plan.batches
        if b.id not in held and len(b.portions) == 1 and b.portions[0].lift == 0
        and next(p for p in problem.pours if p.id == b.portions[0].pour).stands_on is None
        and b.portions[0].pour not in below
        and sum(q.pour == b.portions[0].pour and q.lift == 0
                for x in plan.batches for q in x.portions) == 1
    ]  # fmt: skip
    if not free or rng.random() < 0.5:
        return frozen
    batch = rng.choice(free)
    pour = batch.portions[0].pour
    had = {(t.pour, t.kind, t.step) for t in frozen.tasks}
    tasks = [
        t for t in plan.tasks
        if t.pour == pour and t.kind == "before" and t.start_min <= batch.start_min
        and (t.pour, t.kind, t.step) not in had
    ]  # fmt: skip
    return Frozen(
        (*frozen.lifts, *(x for x in plan.lifts if x.pour == pour and x.lift == 0)),
        (*frozen.batches, batch),
        (*frozen.tasks, *tasks),
        (*frozen.stands, *(s for s in plan.stands if s.pour == pour
                           and all(f.pour != pour for f in frozen.stands))),
    )  # fmt: skip
