"""Minutes, masses and names in words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from planning.core.plan import Problem


def day_starts(problem: Problem) -> tuple[int, ...]:
    """Return the minute of each midnight in the horizon."""
    return problem.day_starts or tuple(range(0, problem.horizon_min, 1440))


def day_of(problem: Problem, minute: int) -> int:
    """Return the number of the day a minute lies in, from 0."""
    return max(0, sum(1 for s in day_starts(problem) if s <= minute) - 1)


def day_name(problem: Problem, day: int) -> str:
    """Return a day of the horizon by weekday and date."""
    first = date.fromisoformat(problem.origin[:10])
    return f"{first + timedelta(days=day):%A %d %B}".replace(" 0", " ")


def when(problem: Problem, minute: int) -> str:
    """Return a minute as weekday, date and time of day."""
    day = day_of(problem, minute)
    clock = minute - day_starts(problem)[day]
    return f"{day_name(problem, day)}, {clock // 60:02d}:{clock % 60:02d}"


def kilograms(kg: float) -> str:
    """Return a mass rounded up to 0.1 kg."""
    return f"{math.ceil(kg * 10 - 1e-6) / 10:.1f} kg"


def hours(minutes: int) -> str:
    """Return a span in minutes, in hours from two hours on, in days from two days on."""
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 2 * 1440:
        return f"{minutes / 60:.1f} h".replace(".0 h", " h")
    return f"{minutes / 1440:.1f} days".replace(".0 days", " days")


def named(items: Iterable[Any], ids: Iterable[str]) -> str:
    """Return the names of people, mixers or pours, in the order of the ids; an id has its own."""
    names = {item.id: item.name or item.id for item in items}
    return joined(names.get(one, one) for one in ids)


def pour_name(problem: Problem, id: str) -> str:
    """Return what people call a pour."""
    return named(problem.pours, (id,))


def work_name(problem: Problem, pour: str, step: str, lift: int | None, portion: int = 0) -> str:
    """Return a piece of work in words: a step, abrading before a lift, or a pot cast into it."""
    if lift is not None:
        name = f"{pour_name(problem, pour)}, {'abrading before ' if step else ''}lift {lift + 1}"
        return f"{name}, pot {portion + 1}" if portion else name
    own = next((p for p in problem.pours if p.id == pour), None)
    steps = () if own is None else (*own.before, *own.after)
    name = next((s.name for s in steps if s.id == step), step)
    return f"{pour_name(problem, pour)}, {name}"


def material_name(problem: Problem, material: str) -> str:
    """Return what people call a material; the id where it has no name."""
    for system in problem.systems:
        if material == system.resin and system.resin_name:
            return system.resin_name
        if material == system.hardener and system.hardener_name:
            return system.hardener_name
        for one in system.further:
            if material == one.material and one.material_name:
                return one.material_name
    return material


def joined(words: Iterable[str]) -> str:
    """Return words as people list them: one, one and another, one, another and a third."""
    *most, last = list(words) or [""]
    return f"{', '.join(most)} and {last}" if most else last
