"""What of the confirmed plan no longer holds in the shop as it is now."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from planning.batches.models import Batch
from planning.core import plain
from planning.core import plan as core
from planning.core.check import Violation, check
from planning.rules import actions as rules
from planning.schedule import queries, snapshot
from planning.schedule.models import WeekPlan
from planning.schedule.wording import in_words, short
from shared.access.models import Site

Named = tuple[int, str]
"""The id of a row and what people call it."""
NOT_OF_THE_SHOP = {"figures"}
"""Rules about what a plan says of itself; the stored work says nothing of itself."""


@dataclass(frozen=True)
class Broken:
    """One rule that the confirmed work breaks, with what and whom it is about."""

    rule: str
    words: str
    pours: tuple[Named, ...]
    batches: tuple[Named, ...]
    steps: tuple[Named, ...]
    people: tuple[Named, ...]


@dataclass(frozen=True)
class PlanNow:
    """The plan a site works by, if there is one, and what of it no longer holds."""

    plan: WeekPlan | None
    broken: tuple[Broken, ...]

    def without(self, before: PlanNow) -> PlanNow:
        """Return what is broken now and was not before."""
        known = {(one.rule, one.words) for one in before.broken}
        new = tuple(one for one in self.broken if (one.rule, one.words) not in known)
        return PlanNow(self.plan, new)


def plan_now(site: Site, now: datetime) -> PlanNow:
    """
    Judge the confirmed work by the independent check against the shop as it is now.

    The work is read from the tables, the problem gathered anew: one reading of each, no writing.
    """
    works_by = queries.confirmed_plan(site.pk)
    if works_by is None:
        return PlanNow(None, ())
    stored = WeekPlan.objects.values_list("problem", flat=True).get(pk=works_by.pk)
    basis = plain.from_plain(core.Problem, stored)
    problem, plan = snapshot.confirmed_work(
        site=site, basis=basis, now=now, settings=rules.settings_of(rules.rules_of(site.pk))
    )
    found = [one for one in check(problem, plan) if one.rule not in NOT_OF_THE_SHOP]
    namer = _Namer(site, problem, basis, plan)
    return PlanNow(works_by, tuple(namer.named(one) for one in found))


class _Namer:
    """Finds the rows that a sentence of the check is about."""

    def __init__(
        self, site: Site, problem: core.Problem, basis: core.Problem, plan: core.Plan
    ) -> None:
        self.problems = (problem, basis)
        self.zone = ZoneInfo(site.time_zone)
        self.batches = {batch.id: batch for batch in plan.batches}
        self.tasks = {task.step: task for task in plan.tasks if task.step}
        both = (basis, problem)  # the later one names what both know
        self.pours = {pour.id: short(pour.name) for one in both for pour in one.pours}
        self.people = {person.id: person.name for one in both for person in one.people}
        self.steps = {
            step.id: step.name
            for one in both
            for pour in one.pours
            for step in (*pour.before, *pour.after)
        }
        numbers = Batch.objects.filter(site=site, number__in=self.batches)
        self.keys = dict(numbers.values_list("number", "pk"))

    def named(self, one: Violation) -> Broken:
        """Return a breach with the rows it is about and its sentence in the words of the shop."""
        words = set(re.findall(r"[\w-]+", one.words)) | set(one.subjects)
        batches = [self.batches[key] for key in self.batches if key in words]
        steps = [key for key in re.findall(r"[Ss]tep '?(\d+)", one.words) if key in self.tasks]
        tasks = [self.tasks[key] for key in dict.fromkeys(steps)]
        pours = [*re.findall(r"[Pp]our '?(\d+)", one.words), *_listed(one.words)]
        pours += [task.pour for task in tasks]
        pours += [portion.pour for batch in batches for portion in batch.portions]
        people = [person for batch in batches for person in batch.people]
        people += [person for task in tasks for person in task.people]
        return Broken(
            rule=one.rule,
            words=in_words(one.words, self.zone, *self.problems),
            pours=_rows(pours, self.pours),
            batches=tuple(
                (self.keys[batch.id], batch.id) for batch in batches if batch.id in self.keys
            ),
            steps=_rows([task.step for task in tasks], self.steps),
            people=_rows(people, self.people),
        )


def _listed(words: str) -> list[str]:
    """Return the pours that a sentence on a full place lists in brackets."""
    found = re.search(r"pours at [^(]*\(([\d, ]+)\)", words)
    return found[1].split(", ") if found else []


def _rows(keys: list[str], names: dict[str, str]) -> tuple[Named, ...]:
    return tuple((int(key), names[key]) for key in dict.fromkeys(keys) if key in names)
