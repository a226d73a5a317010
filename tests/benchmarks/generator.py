"""
Invented weeks of 10 to 500 pours, the same for the same seed.

Nothing here is measured in a shop: sizes, dates and clocks are drawn so that the week is busy but
not hopeless. People, mixers, benches and ovens grow with the number of pours.
"""

from __future__ import annotations

import random
from dataclasses import replace

from planning.core.plan import Problem
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

DAY = 1440
DAYS = 14
WORKDAYS = [d for d in range(DAYS) if d % 7 < 5]
SKILLS = ("coat", "mix")


def week(pours: int, seed: int = 1, people: int = 0, **settings: object) -> Problem:
    """Return a week of `pours` pours (an A half may bring its B half along); `people` if given."""
    rng = random.Random(f"{pours}/{seed}")
    systems = tuple(_system(i) for i in range(3))
    count = people or max(2, -(-pours // 24))
    crew = tuple(_person(i) for i in range(count))
    mixers = tuple(
        Mixer(f"M{i + 1}", largest_kg=rng.choice((12.0, 15.0)), name=f"Mixer {i + 1}")
        for i in range(max(2, pours // 20))
    )
    benches = Place("bench", "bench", capacity=max(6, pours * 2 // 5))
    floor = Place("floor", "floor", capacity=max(3, pours // 8))
    ovens = [Place(f"oven-{i + 1}", "oven", capacity=4) for i in range(max(1, pours // 100))]
    asked: list[Pour] = []
    while len(asked) < pours:
        a = _pour(rng, f"P{len(asked) + 1:03d}", systems, pours)
        asked.append(a)
        if len(asked) < pours and rng.random() < 0.25:
            asked.append(_b_half(rng, a, f"P{len(asked) + 1:03d}"))
    return Problem(
        origin="2026-11-30T00:00:00Z",
        horizon_min=DAYS * DAY,
        people=crew,
        mixers=mixers,
        places=(benches, floor, *ovens),
        systems=systems,
        pours=tuple(asked),
        lots=_lots(systems, asked),
        staffed=tuple((d * DAY + 420, d * DAY + 1320) for d in WORKDAYS),
        settings=replace(Settings(), **settings),  # type: ignore[arg-type]
        limits=Limits(seconds=10, seed=seed),
    )


def _person(index: int) -> Person:
    """Return somebody on the early or the late shift, with a break."""
    begin = 420 if index % 3 != 2 else 780
    shifts: list[Window] = []
    for day in WORKDAYS:
        at = day * DAY + begin
        shifts += [(at, at + 240), (at + 270, at + 510)]
    return Person(f"T{index + 1}", tuple(shifts), SKILLS if index % 4 != 3 else ("coat",))


def _system(index: int) -> System:
    """Return one of three filled systems; Monday is cold, Thursday warm."""
    life = (45, 60, 90)[index]
    conditions = []
    for day, factor in ((0, 1.2), (1, 1.0), (3, 0.9), (4, 1.0)):
        conditions.append(
            Condition(
                from_min=day * DAY,
                pot_life_min=round(life * factor),
                gel_limit_min=round(life * 1.6 * factor),
                gap_least_min=round((120, 180, 240)[index] * factor),
                gap_greatest_min=round((1080, 1440, 1800)[index] * factor),
                attend_min=round((60, 75, 90)[index] * factor),
                cure_min=round((960, 1200, 1440)[index] * factor),
            )
        )
    return System(
        id=f"S{index + 1}",
        resin=f"R{index + 1}",
        hardener=f"H{index + 1}",
        hardener_per_100=(12.0, 10.0, 20.0)[index],
        conditions=tuple(conditions),
        deepest_lift_mm=(60.0, 50.0, 80.0)[index],
        weigh_min=8,
        mix_min=5,
        clean_min=7,
        pour_rate_kg_min=1.2,
        move_min=2,
        vessel_kg=12.0,
        residue_fixed_kg=0.15,
        residue_share=0.01,
        abrade_min=20,
        skill="mix",
    )


def _pour(rng: random.Random, id: str, systems: tuple[System, ...], pours: int) -> Pour:
    system = rng.choices(systems, (3, 2, 1))[0]
    depth = rng.choice((30, 40, 50, 60, 60, 90, 110))
    layers = depth // 10
    mass = rng.choice((rng.uniform(1, 6), rng.uniform(2, 9), rng.uniform(6, 22)))
    coats = rng.choice((2, 3))
    before = tuple(
        Step(f"coat{i + 1}", f"Release coat {i + 1}", 10, 30, "coat",
             longest_wait_min=2880 if i + 1 == coats else None)
        for i in range(coats)
    )  # fmt: skip
    after = [Step("demould", "Demould", 20)]
    if rng.random() < 0.15:
        after.append(Step("post", "Post-cure", 5, 480, oven_cycle="60C"))
    earliest = rng.choice(WORKDAYS[:4]) * DAY + 420 if rng.random() < 0.5 else 0
    due = _workday(earliest // DAY + rng.choice((1, 2, 2, 3, 4))) * DAY + 1020
    return Pour(
        id=id,
        system=system.id,
        layers=tuple(Layer(10.0, round(mass / layers, 3)) for _ in range(layers)),
        place_kind="bench" if mass < 14 else "floor",
        due_min=due,
        before=before,
        after=tuple(after),
        earliest_min=earliest,
        weight=rng.choice((1, 1, 1, 2, 3)),
        may_share=rng.random() < 0.95,
        tool=id,
    )


def _workday(day: int) -> int:
    """Return the day itself, or the Monday after it, within the two weeks."""
    return min(next(d for d in range(day, day + 3) if d % 7 < 5), WORKDAYS[-1])


def _b_half(rng: random.Random, a: Pour, id: str) -> Pour:
    return replace(
        a,
        id=id,
        stands_on=a.id,
        same_place=rng.random() < 0.5,
        due_min=_workday(a.due_min // DAY + rng.choice((1, 2, 3))) * DAY + 1020,
        tool=a.tool,
        after=a.after[:1],
    )


def _lots(systems: tuple[System, ...], asked: list[Pour]) -> tuple[Lot, ...]:
    """Return plenty of material, some of it opened or expiring in the second week."""
    lots = []
    for system in systems:
        need = 1.35 * sum(p.mass_kg for p in asked if p.system == system.id) + 20
        share = system.hardener_per_100 / (100 + system.hardener_per_100)
        for material, kg, pack in (
            (system.resin, need * (1 - share), 20.0),
            (system.hardener, need * share, 2.5),
        ):
            count = int(kg / pack) + 2
            for number in range(2):
                part = range(number, count, 2)
                until = (DAYS - 4 if number == 0 else 60) * DAY
                containers = tuple(
                    Container(f"{material}-{i}", pack, until, opened=i == 0,
                              open_life_min=None if i == 0 else 30 * DAY)
                    for i in part
                )  # fmt: skip
                lots.append(Lot(f"{material}/{number}", material, containers))
    return tuple(lots)
