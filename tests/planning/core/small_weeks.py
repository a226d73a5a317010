"""The least week a test can name: one system, one mixer, one bench, a technician, two days."""

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
)

DAY = 1440
QUICK = Limits(seconds=30, seed=1, work=400)


def clocks(**other: int) -> Condition:
    values = {
        "from_min": 0, "pot_life_min": 60, "gel_limit_min": 90, "gap_least_min": 120,
        "gap_greatest_min": 900, "attend_min": 0, "cure_min": 600,
    }  # fmt: skip
    return Condition(**(values | other))


def system(**other: object) -> System:
    values: dict[str, object] = {
        "id": "S", "resin": "R", "hardener": "H", "hardener_per_100": 25.0,
        "conditions": (clocks(),), "deepest_lift_mm": 50.0, "weigh_min": 5, "mix_min": 5,
        "clean_min": 5, "pour_rate_kg_min": 1.0, "move_min": 1, "skill": "mix",
    }  # fmt: skip
    return System(**(values | other))  # type: ignore[arg-type]


def pour(id: str, kg: float = 4.0, **other: object) -> Pour:
    values: dict[str, object] = {
        "id": id, "system": "S", "layers": (Layer(40.0, kg),), "place_kind": "bench",
        "due_min": 3 * DAY,
    }  # fmt: skip
    return Pour(**(values | other))  # type: ignore[arg-type]


def shifts(days: int = 2, start: int = 480, end: int = 960) -> tuple[tuple[int, int], ...]:
    return tuple((d * DAY + start, d * DAY + end) for d in range(days))


def lots(kg: float = 50.0, **hardener: object) -> tuple[Lot, ...]:
    resin = Lot("R1", "R", (Container("R1a", kg, 30 * DAY),))
    values: dict[str, object] = {"id": "H1a", "kg": kg, "usable_until_min": 30 * DAY}
    can = Container(**(values | hardener))  # type: ignore[arg-type]
    return resin, Lot("H1", "H", (can,))


def problem(*pours: Pour, **other: object) -> Problem:
    values: dict[str, object] = {
        "origin": "2026-11-30T00:00:00Z",
        "horizon_min": 3 * DAY,
        "people": (Person("T1", shifts(), ("mix", "coat")),),
        "mixers": (Mixer("M1", 10.0),),
        "places": (Place("bench-1", "bench", 6),),
        "systems": (system(),),
        "pours": pours,
        "lots": lots(),
        "settings": Settings(pot_life_factor=1.0),
        "limits": QUICK,
    }
    return Problem(**(values | other))  # type: ignore[arg-type]


def set_to(week: Problem, **settings: object) -> Problem:
    return replace(week, settings=replace(week.settings, **settings))  # type: ignore[arg-type]


def coat(minutes: int = 10, wait: int = 30, **other: object) -> Step:
    return Step("coat", "Release coat", minutes, wait, "coat", **other)  # type: ignore[arg-type]
