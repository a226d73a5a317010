"""Rules on people: shifts, skills, one thing at a time."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from planning.core.checking.overlap import Span, overloads
from planning.core.checking.view import View, label, titled
from planning.core.plan import Batch, Task


@dataclass(frozen=True)
class Job:
    """Hands-on work and who it asks for."""

    part: Batch | Task
    hands: int
    skill: str


def check_people(view: View) -> None:
    """Judge ``shift``, ``skill`` and ``person_busy``."""
    busy: dict[str, list[Span]] = defaultdict(list)
    for job in _jobs(view):
        _check_crew(view, job)
        for person, times in Counter(job.part.people).items():
            _check_person(view, job, person)
            busy[person].append(Span(job.part.start_min, job.part.end_min, job.part, times))
    for person_id, spans in busy.items():
        if person_id in view.people:
            _check_busy(view, person_id, spans)


def _jobs(view: View) -> Iterator[Job]:
    for batch in view.plan.batches:
        system = view.systems.get(batch.system)
        if system is not None:
            yield Job(batch, system.hands, system.skill)
    for pour_id, tasks in view.tasks_of.items():
        pour = view.pours.get(pour_id)
        if pour is None:
            continue
        steps = {("before", s.id): s for s in pour.before} | {
            ("after", s.id): s for s in pour.after
        }
        for task in tasks:
            step = steps.get((task.kind, task.step))
            if task.kind == "abrade":
                yield Job(task, 1, "")
            elif step is not None and step.hands_min > 0:
                yield Job(task, step.hands, step.skill)


def _check_crew(view: View, job: Job) -> None:
    if len(job.part.people) != job.hands:
        words = f"{titled(job.part)} has {len(job.part.people)} people; it takes {job.hands}."
        view.report("skill", _subjects(job), words, [job.part])


def _check_person(view: View, job: Job, person_id: str) -> None:
    person = view.people.get(person_id)
    start, end = job.part.start_min, job.part.end_min
    subjects = [*_subjects(job), person_id]
    if person is None:
        words = f"{titled(job.part)} is given to {person_id!r}, who is not listed."
        view.report("shift", subjects, words, [job.part])
        return
    if not any(begin <= start and end <= close for begin, close in person.shifts):
        words = (
            f"{titled(job.part)} runs {view.when(start)} to {view.when(end)}; no shift of "
            f"{person_id} contains these {end - start} min."
        )
        view.report("shift", subjects, words, [job.part])
    if job.skill and job.skill not in person.skills:
        words = (
            f"{titled(job.part)} asks for skill {job.skill!r}, which {person_id} does not have."
        )
        view.report("skill", subjects, words, [job.part])


def _check_busy(view: View, person_id: str, spans: list[Span]) -> None:
    count = view.people[person_id].count
    for minute, active in overloads(spans, count, view.is_fixed):
        names = ", ".join(label(span.part) for span in active[:4])
        words = (
            f"{person_id} is asked for {sum(span.size for span in active)} times at "
            f"{view.when(minute)} ({names}); there is {count}."
        )
        subjects = [person_id, *(_id_of(span.part) for span in active[:4])]
        view.report("person_busy", subjects, words, [span.part for span in active])


def _id_of(part: object) -> str:
    return part.id if isinstance(part, Batch) else str(getattr(part, "pour", ""))


def _subjects(job: Job) -> list[str]:
    return [_id_of(job.part)]
