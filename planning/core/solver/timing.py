"""
Scheduling with CP-SAT: activities, start-to-start lags both ways, and shared resources.

One layer for the week's retiming and for the published project and job shop instances.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

Lag = tuple[int, int, int]
"""(i, j, d): activity j starts at least d after i starts; a negative d is a longest lag from j."""


@dataclass(frozen=True)
class Activity:
    """Work of `minutes` that takes `use` (resource number, amount) while it lasts."""

    minutes: int
    use: tuple[tuple[int, int], ...] = ()
    early: int = 0
    late: int | None = None
    starts: tuple[tuple[int, int], ...] = ()
    """Closed ranges its start must lie in; empty: any."""


@dataclass(frozen=True)
class Resource:
    """Something of which `capacity` is there at a time, less what `away` takes."""

    capacity: int
    away: tuple[tuple[int, int, int], ...] = ()
    """(start, end, amount) that is not there."""


@dataclass(frozen=True)
class Target:
    """Weight per minute that an activity starts after `due`."""

    activity: int
    due: int
    weight: int


@dataclass(frozen=True)
class Timing:
    """Starts, the value reached and the value proven; no starts where there is no schedule."""

    starts: tuple[int, ...]
    value: int
    bound: int
    infeasible: bool = False

    @property
    def proven(self) -> bool:
        return self.infeasible or (bool(self.starts) and self.value == self.bound)


@dataclass
class Model:
    """Activities, lags and resources, to be solved for makespan or for lateness."""

    activities: list[Activity]
    lags: list[Lag]
    resources: list[Resource]
    horizon: int
    targets: list[Target] = field(default_factory=list)

    def solve(
        self,
        seconds: float = 30.0,
        work: float | None = None,
        seed: int = 1,
        workers: int = 2,
        hint: Sequence[int] = (),
    ) -> Timing:
        """
        Minimise weighted lateness of the targets or, without any, the makespan.

        Parameters
        ----------
        seconds : float
            Wall-clock cut, s.
        work : float, optional
            Deterministic limit; with it the answer does not depend on the clock or the machine.
        hint : sequence of int
            Starts to begin from.
        """
        from ortools.sat.python import cp_model

        if self._longest_paths() is None:
            return Timing((), 0, 0, infeasible=True)
        model = cp_model.CpModel()
        starts = self._variables(model, cp_model.Domain)
        for i, j, d in self.lags:
            model.add(starts[j] >= starts[i] + d)
        self._resources(model, starts)
        self._objective(model, starts)
        for start, value in zip(starts, hint, strict=False):
            model.add_hint(start, value)
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.random_seed = seed
        solver.parameters.num_workers = workers
        if work is not None:
            solver.parameters.max_deterministic_time = work
            solver.parameters.interleave_search = True
        status = solver.solve(model)
        if status == cp_model.INFEASIBLE:
            return Timing((), 0, 0, infeasible=True)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Timing((), 0, round(solver.best_objective_bound))
        return Timing(
            tuple(solver.value(s) for s in starts),
            round(solver.objective_value),
            round(solver.best_objective_bound),
        )

    def _longest_paths(self) -> list[int] | None:
        """Return earliest starts by the lags alone, or None where they contradict each other."""
        early = [a.early for a in self.activities]
        for _ in range(len(early) + 1):
            changed = False
            for i, j, d in self.lags:
                if early[i] + d > early[j]:
                    early[j] = early[i] + d
                    changed = True
            if not changed:
                return early
        return None

    def _variables(self, model: Any, domain: Callable[..., Any]) -> list[Any]:
        early = self._longest_paths() or []
        found = []
        for n, activity in enumerate(self.activities):
            late = self.horizon if activity.late is None else activity.late
            if activity.starts:
                ranges = [[max(a, early[n]), min(b, late)] for a, b in activity.starts]
                ranges = [r for r in ranges if r[0] <= r[1]] or [[late + 1, late + 1]]
                values = domain.from_intervals(ranges)  # type: ignore[attr-defined]
                found.append(model.new_int_var_from_domain(values, f"s{n}"))
            else:
                found.append(model.new_int_var(early[n], max(late, early[n]), f"s{n}"))
        return found

    def _resources(self, model: Any, starts: list[Any]) -> None:
        intervals: dict[int, Any] = {}
        for number, resource in enumerate(self.resources):
            users = [
                (n, amount)
                for n, a in enumerate(self.activities)
                for r, amount in a.use
                if r == number and amount and a.minutes
            ]
            for n, _ in users:
                if n not in intervals:
                    minutes = self.activities[n].minutes
                    intervals[n] = model.new_fixed_size_interval_var(starts[n], minutes, f"i{n}")
            own = [intervals[n] for n, _ in users]
            amounts = [amount for _, amount in users]
            for begin, end, amount in resource.away:
                own.append(model.new_fixed_size_interval_var(begin, end - begin, "away"))
                amounts.append(amount)
            if resource.capacity == 1 and all(a == 1 for a in amounts):
                model.add_no_overlap(own)
            elif own:
                model.add_cumulative(own, amounts, resource.capacity)

    def _objective(self, model: Any, starts: list[Any]) -> None:
        if not self.targets:
            span = model.new_int_var(0, self.horizon, "span")
            for start, activity in zip(starts, self.activities, strict=True):
                model.add(span >= start + activity.minutes)
            model.minimize(span)
            return
        terms = []
        for target in self.targets:
            late = model.new_int_var(0, self.horizon, f"late{target.activity}")
            model.add(late >= starts[target.activity] - target.due)
            terms.append(target.weight * late)
        model.minimize(sum(terms))


def breaches(model: Model, starts: Iterable[int]) -> list[str]:
    """Return every lag and capacity a schedule breaks; computed apart from the model's solver."""
    at = list(starts)
    found = [
        f"{j} starts {at[j] - at[i]} after {i}, not {d}"
        for i, j, d in model.lags if at[j] < at[i] + d
    ]  # fmt: skip
    for number, resource in enumerate(model.resources):
        change: dict[int, int] = {}
        for a, start in zip(model.activities, at, strict=True):
            for r, amount in a.use:
                if r == number and a.minutes:
                    change[start] = change.get(start, 0) + amount
                    change[start + a.minutes] = change.get(start + a.minutes, 0) - amount
        for begin, end, amount in resource.away:
            change[begin] = change.get(begin, 0) + amount
            change[end] = change.get(end, 0) - amount
        used = 0
        for minute in sorted(change):
            used += change[minute]
            if used > resource.capacity:
                found.append(f"resource {number} is used {used} at {minute}")
    return found
