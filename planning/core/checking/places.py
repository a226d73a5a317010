"""Rules on mixers, places and ovens."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from planning.core.checking.overlap import Span, overloads
from planning.core.checking.view import View, key_of, titled, wait_from
from planning.core.plan import Batch, Stand, Task
from planning.core.problem import Place, Pour, Step, Window


def check_mixers(view: View) -> None:
    """Judge ``mixer_busy``."""
    held: dict[str, list[Span]] = defaultdict(list)
    for batch in view.plan.batches:
        mixer = view.mixers.get(batch.mixer)
        if mixer is None:
            words = f"Batch {batch.id} is mixed in {batch.mixer!r}, which is not listed."
            view.report("mixer_busy", [batch.id, batch.mixer], words, [batch])
            continue
        held[mixer.id].append(Span(batch.contact_min, batch.end_min, batch))
        if mixer.systems and batch.system not in mixer.systems:
            words = (
                f"Batch {batch.id} of {batch.system} is mixed in {mixer.id}, kept for "
                f"{', '.join(mixer.systems)}."
            )
            view.report("mixer_busy", [batch.id, mixer.id], words, [batch])
        closed = _closed(mixer.closed, batch.contact_min, batch.end_min)
        if closed is not None:
            words = (
                f"Batch {batch.id} runs while mixer {mixer.id} is closed {_span(view, closed)}."
            )
            view.report("mixer_busy", [batch.id, mixer.id], words, [batch])
    for mixer_id, spans in held.items():
        count = view.mixers[mixer_id].count
        for minute, active in overloads(spans, count, view.is_fixed):
            ids = [span.part.id for span in active if isinstance(span.part, Batch)]
            words = (
                f"Mixer {mixer_id} holds {len(ids)} batches at {view.when(minute)} "
                f"({', '.join(ids[:4])}); there is {count}."
            )
            parts = [span.part for span in active]
            view.report("mixer_busy", [mixer_id, *ids[:4]], words, parts)


def _closed(windows: Iterable[Window], start: int, end: int) -> Window | None:
    return next((w for w in windows if start < w[1] and w[0] < end), None)


def _span(view: View, window: Window) -> str:
    return f"from {view.when(window[0])} to {view.when(window[1])}"


@dataclass(frozen=True)
class OvenWait:
    """The time a step's tool spends in an oven."""

    task: Task
    step: Step

    @property
    def start_min(self) -> int:
        return wait_from(self.step, self.task)

    @property
    def end_min(self) -> int:
        return self.start_min + self.step.wait_min


def check_places(view: View) -> None:
    """Judge ``place`` and ``oven``."""
    for pour in view.planned:
        _check_stand(view, pour)
        _check_same_place(view, pour)
    held: dict[str, list[Span]] = defaultdict(list)
    for stand in view.plan.stands:
        place = view.places.get(stand.place)
        if place is None:
            words = f"Pour {stand.pour} stands in {stand.place!r}, which is not listed."
            view.report("place", [stand.pour, stand.place], words, [stand])
            continue
        begin = _own_from(view, stand)
        held[place.id] += _stand_spans(view, stand, begin)
        if begin < stand.end_min:  # a frozen one may by now end sooner than it was to
            _check_open(view, "place", place, stand, begin, stand.end_min)
    for oven, waits in _oven_waits(view).items():
        _check_loads(view, oven, waits)
        held[oven].extend(Span(w.start_min, w.end_min, w.task) for w in waits)
    for place_id, spans in held.items():
        _check_capacity(view, view.places[place_id], spans)


def _own_from(view: View, stand: Stand) -> int:
    """Return from when on a stand is the plan's own: after the frozen one, where it has begun."""
    fixed = view.fixed.get(key_of(stand))
    if isinstance(fixed, Stand) and view.begins_fixed(stand):
        return max(stand.start_min, fixed.end_min)
    return stand.start_min


def _stand_spans(view: View, stand: Stand, own_from: int) -> list[Span]:
    """Return what a stand holds: as it is frozen, which is a fact, and the plan's own after it."""
    if own_from == stand.start_min:
        return [Span(stand.start_min, stand.end_min, stand)]
    fixed = view.fixed[key_of(stand)]
    spans = [Span(stand.start_min, min(own_from, stand.end_min), fixed)]
    return [*spans, Span(own_from, stand.end_min, stand)] if own_from < stand.end_min else spans


def _check_stand(view: View, pour: Pour) -> None:
    stands = view.stands_of.get(pour.id, [])
    if len(stands) != 1:
        words = f"Pour {pour.id} has {len(stands)} stands; it needs exactly one."
        view.report("place", [pour.id], words, stands)
        return
    stand = stands[0]
    place = view.places.get(stand.place)
    if place is not None and place.kind != pour.place_kind:
        words = f"Pour {pour.id} needs a {pour.place_kind}; {place.id} is a {place.kind}."
        view.report("place", [pour.id, place.id], words, [stand])
    first, done = _first_holding(view, pour), view.done_min(pour)
    if first is not None and stand.start_min > first:
        words = (
            f"Pour {pour.id} has its place from {view.when(stand.start_min)}; it is needed "
            f"from {view.when(first)}."
        )
        view.report("place", [pour.id, stand.place], words, [stand])
    if done is not None and stand.end_min < done:
        words = (
            f"Pour {pour.id} has its place until {view.when(stand.end_min)}; it is needed "
            f"until {view.when(done)}."
        )
        view.report("place", [pour.id, stand.place], words, [stand])


def _first_holding(view: View, pour: Pour) -> int | None:
    for step, task in view.steps_with_tasks(pour, "before"):
        if step.holds_place and task is not None:
            return task.start_min
    starts = [
        p.start_min
        for b in view.batches_of.get(pour.id, ())
        for p in b.portions
        if p.pour == pour.id
    ]
    return min(starts, default=None)


def _check_same_place(view: View, pour: Pour) -> None:
    if not pour.same_place or pour.stands_on is None:
        return
    uppers, lowers = view.stands_of.get(pour.id), view.stands_of.get(pour.stands_on)
    if not uppers or not lowers:
        return
    upper, lower = uppers[0], lowers[0]
    if upper.place != lower.place:
        words = (
            f"Pour {pour.id} must stay where pour {lower.pour} was cast, {lower.place}; "
            f"it stands in {upper.place}."
        )
        view.report("place", [pour.id, lower.pour], words, [upper, lower])
    elif lower.end_min < upper.start_min:
        words = (
            f"Pour {lower.pour} gives up {lower.place} at {view.when(lower.end_min)}; it must "
            f"keep it until pour {pour.id} begins at {view.when(upper.start_min)}."
        )
        view.report("place", [pour.id, lower.pour], words, [upper, lower])


def _check_open(
    view: View, rule: str, place: Place, part: Stand | Task, start: int, end: int
) -> None:
    closed = _closed(place.closed, start, end)
    if closed is not None:
        words = f"Pour {part.pour} is in {place.id} while it is closed {_span(view, closed)}."
        view.report(rule, [part.pour, place.id], words, [part])


def _check_capacity(view: View, place: Place, spans: list[Span]) -> None:
    for minute, active in overloads(spans, place.capacity, view.is_fixed):
        pours = [span.part.pour for span in active if isinstance(span.part, (Stand, Task))]
        rule = "oven" if any(isinstance(span.part, Task) for span in active) else "place"
        words = (
            f"{place.id} holds {len(pours)} pours at {view.when(minute)} "
            f"({', '.join(pours[:4])}); it has room for {place.capacity}."
        )
        view.report(rule, [place.id, *pours[:4]], words, [span.part for span in active])


def _oven_waits(view: View) -> dict[str, list[OvenWait]]:
    """Group the oven waits by oven; report waits that lie in none."""
    waits: dict[str, list[OvenWait]] = defaultdict(list)
    for pour in view.planned:
        for kind in ("before", "after"):
            for step, task in view.steps_with_tasks(pour, kind):
                if task is None:
                    continue
                if task.oven_start_min is not None and task.oven_start_min < task.end_min:
                    words = (
                        f"{titled(task)} goes into the oven at {view.when(task.oven_start_min)}, "
                        f"before its hands end at {view.when(task.end_min)}."
                    )
                    view.report("oven", [pour.id, step.id], words, [task])
                if step.oven_cycle or task.oven or task.oven_start_min is not None:
                    oven = view.places.get(task.oven)
                    if oven is None or oven.kind != "oven" or not step.oven_cycle:
                        asked = step.oven_cycle or "no oven"
                        words = (
                            f"{titled(task)}: the wait asks for {asked}, not for {task.oven!r}."
                        )
                        view.report("oven", [pour.id, step.id], words, [task])
                    else:
                        waits[oven.id].append(OvenWait(task, step))
    return waits


def _check_loads(view: View, oven: str, waits: list[OvenWait]) -> None:
    """Compare each wait with the ones before it that are still in the oven."""
    load: OvenWait | None = None
    for wait in sorted(waits, key=lambda w: (w.start_min, -w.end_min)):
        _check_open(view, "oven", view.places[oven], wait.task, wait.start_min, wait.end_min)
        if wait.end_min <= wait.start_min:
            continue
        if load is None or wait.start_min >= load.end_min:
            load = wait
            continue
        parts = [load.task, wait.task]
        subjects = [oven, load.task.pour, wait.task.pour]
        if wait.start_min != load.start_min:
            words = (
                f"Pour {wait.task.pour} goes into {oven} at {view.when(wait.start_min)}; the "
                f"load in it began at {view.when(load.start_min)}."
            )
            view.report("oven", subjects, words, parts)
        elif wait.step.oven_cycle != load.step.oven_cycle:
            words = (
                f"{oven} runs {load.step.oven_cycle!r} for pour {load.task.pour} and "
                f"{wait.step.oven_cycle!r} for pour {wait.task.pour} at once."
            )
            view.report("oven", subjects, words, parts)
        if wait.end_min > load.end_min:
            load = wait
