"""Rules on material: enough in each container, in date when it is poured."""

from __future__ import annotations

from collections import defaultdict

from planning.core.checking.view import TOLERANCE, Part, View, same
from planning.core.plan import Batch, LotUse
from planning.core.problem import Container, System


def check_lots(view: View) -> None:
    """Judge ``lot_mass`` and ``lot_date``."""
    if not view.problem.check_lots:
        return
    taken: dict[tuple[str, str], list[tuple[LotUse, Batch]]] = defaultdict(list)
    for batch in view.plan.batches:
        system = view.systems.get(batch.system)
        if system is not None:
            _check_shares(view, batch, system)
        for use in batch.lots:
            if (use.lot, use.container) not in view.containers:
                words = f"Batch {batch.id} takes from {_named(use)}, which is not listed."
                view.report("lot_mass", [batch.id, use.lot], words, [batch])
            else:
                taken[use.lot, use.container].append((use, batch))
    for key, uses in taken.items():
        container = view.containers[key][1]
        _check_held(view, container, uses)
        _check_dates(view, container, uses)


def _named(use: LotUse) -> str:
    return f"container {use.container!r} of lot {use.lot!r}"


def _check_shares(view: View, batch: Batch, system: System) -> None:
    parts = [
        ("resin", system.resin, 100.0),
        ("hardener", system.hardener, system.hardener_per_100),
    ]
    parts += [(one.name, one.material, one.per_100) for one in system.further]
    whole = sum(per_100 for _, _, per_100 in parts)
    roles = {
        role: (material, batch.mixed_kg * per_100 / whole) for role, material, per_100 in parts
    }
    for use in batch.lots:
        if use.role not in roles:
            words = f"Batch {batch.id} takes {use.role}, which {system.name or system.id} has not."
            view.report("lot_mass", [batch.id, use.lot], words, [batch])
    for role, (material, needed) in roles.items():
        uses = [use for use in batch.lots if use.role == role]
        given = sum(use.kg for use in uses)
        if not same(given, needed):
            words = f"Batch {batch.id} needs {needed:g} kg of {role}; its lots give {given:g} kg."
            view.report("lot_mass", [batch.id], words, [batch])
        for use in uses:
            lot = view.containers.get((use.lot, use.container))
            if lot is not None and lot[0].material != material:
                words = (
                    f"Batch {batch.id} takes its {role} from lot {use.lot} of "
                    f"{lot[0].material}; it needs {material}."
                )
                view.report("lot_mass", [batch.id, use.lot], words, [batch])
            if not use.kg > 0:
                words = f"Batch {batch.id} takes {use.kg:g} kg from {_named(use)}."
                view.report("lot_mass", [batch.id, use.lot], words, [batch])


def _check_held(view: View, container: Container, uses: list[tuple[LotUse, Batch]]) -> None:
    total = sum(use.kg for use, _ in uses)
    if not total <= container.kg + TOLERANCE:
        parts: list[Part] = [batch for _, batch in uses]
        use = uses[0][0]
        words = f"{total:g} kg are taken from {_named(use)}; it holds {container.kg:g} kg."
        view.report("lot_mass", [use.lot, container.id, *(b.id for _, b in uses)], words, parts)


def _check_dates(view: View, container: Container, uses: list[tuple[LotUse, Batch]]) -> None:
    usable, why = container.usable_until_min, "is usable until"
    opener = min((batch for _, batch in uses), key=lambda batch: batch.start_min)
    if not container.opened and container.open_life_min is not None:
        open_until = opener.start_min + container.open_life_min
        if open_until < usable:
            usable, why = open_until, f"opened for batch {opener.id}, keeps until"
    for use, batch in uses:
        subjects = [batch.id, use.lot, container.id]
        if batch.start_min < container.available_from_min:
            words = (
                f"Batch {batch.id} is weighed {view.when(batch.start_min)}; {_named(use)} is "
                f"there from {view.when(container.available_from_min)}."
            )
            view.report("lot_date", subjects, words, [batch])
        if batch.pour_end_min > usable:
            words = (
                f"Batch {batch.id} is poured by {view.when(batch.pour_end_min)}; {_named(use)} "
                f"{why} {view.when(usable)}."
            )
            parts = [batch] if usable == container.usable_until_min else [batch, opener]
            view.report("lot_date", subjects, words, parts)
