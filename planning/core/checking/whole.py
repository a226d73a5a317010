"""Rules on the plan as a whole: nothing forgotten, nothing outside, frozen work kept, figures."""

from __future__ import annotations

from collections import Counter

from planning.core.checking.view import TOLERANCE, Part, View, key_of, label, parts_in
from planning.core.plan import Batch, Stand


def check_whole(view: View) -> None:
    """Judge ``pour_missing``, ``horizon``, ``frozen`` and ``figures``."""
    _check_unknown_pours(view)
    _check_placed(view)
    _check_horizon(view)
    _check_frozen(view)
    _check_figures(view)


def _parts_of(view: View, pour: str) -> list[Part]:
    return [
        *view.lifts_of.get(pour, ()),
        *view.tasks_of.get(pour, ()),
        *view.stands_of.get(pour, ()),
        *view.batches_of.get(pour, ()),
    ]


def _check_unknown_pours(view: View) -> None:
    groups = (view.lifts_of, view.tasks_of, view.stands_of, view.batches_of)
    for pour in dict.fromkeys([*(p for group in groups for p in group), *sorted(view.unplaced)]):
        if pour not in view.pours:
            words = f"The plan speaks of pour {pour!r}, which is not asked for."
            view.report("pour_missing", [pour], words, _parts_of(view, pour))


def _check_placed(view: View) -> None:
    times = Counter(u.pour for u in view.plan.unplaced)
    for pour in view.problem.pours:
        if not times[pour.id] and not view.has_work(pour):
            words = f"Pour {pour.id} is neither planned nor named as unplaced."
            view.report("pour_missing", [pour.id], words)
        if times[pour.id] > 1:
            words = f"Pour {pour.id} is named as unplaced {times[pour.id]} times."
            view.report("pour_missing", [pour.id], words)
        if times[pour.id] and view.has_work(pour):
            words = f"Pour {pour.id} is named as unplaced, yet the plan has work for it."
            view.report("pour_missing", [pour.id], words, _parts_of(view, pour.id))
    for unplaced in view.plan.unplaced:
        if not unplaced.words.strip() or not unplaced.rule.strip():
            words = f"Pour {unplaced.pour} is unplaced without a rule and a reason in words."
            view.report("pour_missing", [unplaced.pour], words)


def _check_horizon(view: View) -> None:
    horizon = view.problem.horizon_min
    starts: list[tuple[int, str, Part]] = []
    for batch in view.plan.batches:
        starts.append((batch.start_min, batch.id, batch))
        starts += [(portion.start_min, batch.id, batch) for portion in batch.portions]
    for task in view.plan.tasks:
        starts.append((task.start_min, task.pour, task))
        if task.oven_start_min is not None:
            starts.append((task.oven_start_min, task.pour, task))
    starts += [(s.start_min, s.pour, s) for s in view.plan.stands if not view.begins_fixed(s)]
    for start, subject, part in starts:
        if not 0 <= start < horizon:
            words = f"The {label(part)} starts at minute {start}; the plan spans 0 to {horizon}."
            view.report("horizon", [subject], words, [part])


def _check_frozen(view: View) -> None:
    have = {key_of(part): part for part in parts_in(view.plan)}
    for key, part in view.fixed.items():
        found = have.get(key)
        if found == part:
            continue
        if isinstance(found, Stand) and view.begins_fixed(found):
            continue
        subject = part.id if isinstance(part, Batch) else part.pour
        what = "is not in the plan" if found is None else "was changed"
        view.report("frozen", [subject], f"The {label(part)} is frozen, but {what}.")


def _check_figures(view: View) -> None:
    figures, batches = view.plan.figures, view.plan.batches
    said_and_found: dict[str, tuple[float, float, str]] = {
        "unplaced": (figures.unplaced, len(view.plan.unplaced), ""),
        "pots": (figures.pots, len(batches), ""),
        "residue_kg": (
            figures.residue_kg,
            sum(b.mixed_kg - sum(p.kg for p in b.portions) for b in batches),
            " kg",
        ),
    }
    said_and_found |= _ends(view)
    for name, (said, found, unit) in said_and_found.items():
        tolerance = TOLERANCE * max(1, len(batches)) if name == "residue_kg" else 0
        if not abs(said - found) <= tolerance:
            words = f"The plan says {name} {said:g}{unit}; its content makes {found:g}{unit}."
            view.report("figures", [name], words)
    for name, bound, reached in (
        ("lateness_bound", figures.lateness_bound, figures.lateness),
        ("pots_bound", figures.pots_bound, figures.pots),
    ):
        if bound > reached:
            words = f"The plan says {name} {bound}, above the {reached} it has itself reached."
            view.report("figures", [name], words)
    for one, times in Counter(batch.id for batch in batches).items():
        if times > 1:
            view.report("figures", [one], f"{times} batches bear the id {one!r}; ids must differ.")


def _ends(view: View) -> dict[str, tuple[float, float, str]]:
    """Return lateness and finish; nothing when some planned pour has no end in the plan."""
    done: list[int] = []
    late = 0
    for pour in view.planned:
        minute = view.done_min(pour)
        if minute is None:
            return {}
        done.append(minute)
        late += pour.weight * max(0, minute - pour.due_min)
    figures = view.plan.figures
    return {
        "lateness": (figures.lateness, late, " min"),
        "finish_min": (figures.finish_min, max(done, default=0), " min"),
    }
