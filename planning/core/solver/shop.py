"""The shop as the solver sees it: units of people, mixers and places, and what may start when."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Protocol

from planning.core.batches import mixed_kg, mixers_for, usable_batches_kg
from planning.core.plan import Problem
from planning.core.problem import Mixer
from planning.core.solver import masks
from planning.core.solver.chemistry import Chemistry
from planning.core.solver.job import Job

STANDING_MIN = 60 * 1440
"""How far past the last shift a stand is followed."""


@dataclass(frozen=True)
class MixerUnit:
    """One of `count` alike mixers."""

    unit: int
    mixer: Mixer


class LooksAhead(Protocol):
    """What says how late a pour will be at the least, and when hands are needed for it."""

    def late_after(self, job: Job, lift: int, end: int) -> int:
        """Return the weighted late minutes to come after a lift; lift -1: after none."""
        ...

    def late_after_done(self, job: Job, finish: int) -> int:
        """Return the same of a pour that is done at `finish`."""
        ...

    def moments(self, job: Job, low: int) -> list[int]:
        """Return when hands would start on a pour begun at `low` or later, and when it is done."""
        ...

    def latest_start(self, job: Job) -> int:
        """Return the latest minute to begin a pour and be no later for it."""
        ...


class Shop:
    """Everything about the problem that does not change while planning."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.settings = problem.settings
        ends = [e for p in problem.people for _, e in p.shifts] + [problem.horizon_min]
        self.length = max(ends) + 1
        self.place_length = self.length + STANDING_MIN
        self.in_horizon = masks.span(0, problem.horizon_min)
        self.free: list[int] = []
        self._people()
        self._mixers()
        self._places()
        factor = self.settings.pot_life_factor
        self.systems = [Chemistry(i, s, factor) for i, s in enumerate(problem.systems)]
        for c in self.systems:
            c.usable_kg = max(usable_batches_kg(problem, c.system), default=1.0)
        self.system_index = {s.id: i for i, s in enumerate(problem.systems)}
        self.earliest = [max(0, p.earliest_min) for p in problem.pours]
        index_of = {p.id: i for i, p in enumerate(problem.pours)}
        self.parents = [
            None if p.stands_on is None else index_of[p.stands_on] for p in problem.pours
        ]
        staffed = problem.staffed or tuple(w for p in problem.people for w in p.shifts)
        self._staffed = masks.spans(staffed)
        self.pour_clock = self._pour_clock()
        self.stand_slots: dict[int, int] = {}
        self.jobs: list[Job] = []
        """Every pour made ready, in order; set by the case."""
        self.ahead: LooksAhead
        """Looks ahead in the empty shop; set by the case."""
        self._attended: dict[int, int] = {}
        self._allowed: dict[tuple[int, int, bool], int] = {}
        self._mixers_by_kg: dict[tuple[int, float], tuple[tuple[MixerUnit, ...], bool]] = {}
        self._groups: dict[str, tuple[int, ...]] = {}
        self._shift_starts: dict[tuple[int, int], int] = {}
        self.erosions: dict[tuple[int, int], tuple[int, int]] = {}

    def _people(self) -> None:
        self.person_of: list[int] = []
        self.person_units: dict[str, list[int]] = {}
        self._touching: dict[int, tuple[tuple[int, int], ...]] = {}
        for index, person in enumerate(self.problem.people):
            windows = sorted(person.shifts)
            touching = any(b[0] <= a[1] for a, b in itertools.pairwise(windows))
            for _ in range(person.count):
                self.person_units.setdefault(person.id, []).append(len(self.free))
                if touching:
                    self._touching[len(self.free)] = person.shifts
                self.person_of.append(index)
                self.free.append(masks.spans(person.shifts))

    def _mixers(self) -> None:
        self.mixer_units: list[MixerUnit] = []
        whole = masks.span(0, self.length)  # nobody is there to mix later
        for mixer in self.problem.mixers:
            for _ in range(mixer.count):
                self.mixer_units.append(MixerUnit(len(self.free), mixer))
                self.free.append(whole & ~masks.spans(mixer.closed))
        self.mixer_of = {m.unit: m.mixer for m in self.mixer_units}

    def _places(self) -> None:
        self.slots: dict[str, list[int]] = {}
        self.place_of: dict[int, str] = {}
        self.ovens = [p for p in self.problem.places if p.kind == "oven"]
        whole = masks.span(0, self.place_length)
        for place in self.problem.places:
            for _ in range(place.capacity):
                self.slots.setdefault(place.kind, []).append(len(self.free))
                self.place_of[len(self.free)] = place.id
                self.free.append(whole & ~masks.spans(place.closed))

    def _pour_clock(self) -> int:
        """Return the minutes at which a portion may start."""
        last = self.settings.last_pour_clock_min
        if last is None:
            return masks.span(0, self.length)
        days = self.problem.day_starts or tuple(range(0, self.length, 1440))
        if days[0] > 0:
            days = (0, *days)
        bits = 0
        for start, end in zip(days, [*days[1:], self.length], strict=True):
            bits |= masks.span(start, min(end, start + last + 1))
        return bits

    def group(self, skill: str) -> tuple[int, ...]:
        """Return the units of people with a skill, those with the fewest skills first."""
        if skill not in self._groups:
            people = self.problem.people
            able = [
                (len(people[i].skills), unit)
                for unit, i in enumerate(self.person_of)
                if not skill or skill in people[i].skills
            ]
            self._groups[skill] = tuple(unit for _, unit in sorted(able))
        return self._groups[skill]

    def attended(self, chemistry: Chemistry) -> int:
        """Return the minutes at which pouring a lift may end."""
        if chemistry.index not in self._attended:
            bits = 0
            for start, end, i in chemistry.segments():
                need = chemistry.conditions[i].attend_min
                inside = masks.span(start, self.place_length if end is None else end)
                bits |= (masks.starts(self._staffed, need) if need else inside) & inside
            self._attended[chemistry.index] = bits
        return self._attended[chemistry.index]

    def allowed_starts(self, chemistry: Chemistry, pour_min: int, ends_lift: bool) -> int:
        """Return the minutes at which a pot with one portion may be begun, resources apart."""
        key = (chemistry.index, pour_min, ends_lift)
        if key not in self._allowed:
            system = chemistry.system
            bits = 0
            for start, end, i in chemistry.segments():
                if system.mix_min + pour_min <= chemistry.life[i]:
                    bits |= masks.span(start, self.length if end is None else end)
            bits &= self.pour_clock >> system.mix_min
            if ends_lift:
                bits &= self.attended(chemistry) >> (system.mix_min + pour_min)
            self._allowed[key] = (bits >> system.weigh_min) & self.in_horizon
        return self._allowed[key]

    def mixers(
        self, chemistry: Chemistry, portions_kg: float
    ) -> tuple[tuple[MixerUnit, ...], bool]:
        """
        Return the mixers that can hold the pot, and whether it is heavy enough for one of them.

        Where none takes so small a pot alone, those that could hold it are returned: another pour
        may yet share it.
        """
        key = (chemistry.index, portions_kg)
        if key not in self._mixers_by_kg:
            system = chemistry.system
            mixed = mixed_kg(system, portions_kg)
            allowed = {m.id for m in mixers_for(self.problem, system)}
            can = [
                m
                for m in self.mixer_units
                if m.mixer.id in allowed
                and mixed <= min(m.mixer.largest_kg, system.vessel_kg) + 1e-9
            ]
            least = system.least_batch_kg
            full = [m for m in can if mixed >= max(least, m.mixer.least_kg) - 1e-9]
            self._mixers_by_kg[key] = (tuple(full or can), bool(full))
        return self._mixers_by_kg[key]

    def fill(self, chemistry: Chemistry, kg: float) -> int:
        """Return a thousand times the square of how full a pot is."""
        return round(1000 * (kg / chemistry.usable_kg) ** 2)

    def starts_of(self, free: list[int], unit: int, minutes: int) -> int:
        """Return the minutes at which a unit has `minutes` free in a row, in one shift."""
        bits = free[unit]
        key = (unit, minutes)
        known = self.erosions.get(key)
        if known is not None and known[0] is bits:
            return known[1]
        found = masks.starts(bits, minutes)
        if unit in self._touching:
            found &= self._in_one_shift(unit, minutes)
        self.erosions[key] = (bits, found)
        return found

    def _in_one_shift(self, unit: int, minutes: int) -> int:
        key = (unit, minutes)
        if key not in self._shift_starts:
            windows = self._touching[unit]
            self._shift_starts[key] = masks.spans((a, b - minutes + 1) for a, b in windows)
        return self._shift_starts[key]

    def crosses_shifts(self, unit: int, start: int, end: int) -> bool:
        """Return whether work would run from one shift of a unit into a touching one."""
        windows = self._touching.get(unit)
        return windows is not None and not any(a <= start and end <= b for a, b in windows)

    def people_starts(self, free: list[int], units: tuple[int, ...], hands: int, d: int) -> int:
        """Return the minutes at which `hands` of the units have `d` minutes."""
        return masks.at_least(hands, [self.starts_of(free, u, d) for u in units])

    def pick_people(
        self, free: list[int], units: tuple[int, ...], hands: int, start: int, d: int
    ) -> tuple[int, ...]:
        """Return the first `hands` units that are free for `d` minutes from `start`."""
        found: list[int] = []
        for unit in units:
            if self.starts_of(free, unit, d) >> start & 1:
                found.append(unit)
                if len(found) == hands:
                    break
        return tuple(found)
