"""Rules on lifts and batches: depth, mass, clock and sharing."""

from __future__ import annotations

from planning.core.checking.view import TOLERANCE, View, condition_at, pour_minutes, same
from planning.core.plan import Batch, Lift
from planning.core.problem import Pour, System


def check_lifts(view: View) -> None:
    """Judge ``lift_depth`` and ``lift_mass``."""
    for pour in view.planned:
        lifts = view.lifts_of.get(pour.id, [])
        _check_cover(view, pour, lifts)
        for lift in lifts:
            layers = pour.layers[max(lift.first_layer, 0) : max(lift.last_layer, 0)]
            _check_depth(view, pour, lift, sum(layer.depth_mm for layer in layers), len(lifts))
            _check_mass(view, lift, sum(layer.mass_kg for layer in layers))
    _check_portions(view)


def _check_cover(view: View, pour: Pour, lifts: list[Lift]) -> None:
    reached = 0
    for number, lift in enumerate(lifts):
        if lift.lift != number:
            # Not excused where all is frozen: that a lower lift is left out is no fact.
            view.report(
                "lift_depth",
                [pour.id],
                f"Pour {pour.id}: lift {lift.lift} follows where lift {number} is expected.",
            )
        elif lift.first_layer != reached or lift.last_layer <= reached:
            view.report(
                "lift_depth",
                [pour.id],
                f"Pour {pour.id}: lift {lift.lift} covers layers {lift.first_layer} to "
                f"{lift.last_layer}; expected lift {number}, from layer {reached} up.",
                lifts,
            )
        reached = lift.last_layer
    if reached != len(pour.layers):
        view.report(
            "lift_depth",
            [pour.id],
            f"Pour {pour.id}: its lifts end at layer {reached}, the pour has {len(pour.layers)}.",
        )


def _check_depth(view: View, pour: Pour, lift: Lift, depth_mm: float, lifts: int) -> None:
    limits = {f"system {pour.system}": view.systems[pour.system].deepest_lift_mm}
    if pour.deepest_lift_mm is not None:
        limits[f"pour {pour.id}"] = pour.deepest_lift_mm
    whose, deepest = min(limits.items(), key=lambda item: item[1])
    least = view.problem.settings.least_lift_mm
    name = f"Lift {lift.lift} of pour {pour.id}"
    if not same(lift.depth_mm, depth_mm):
        words = f"{name} says {lift.depth_mm:g} mm; its layers are {depth_mm:g} mm deep."
        view.report("lift_depth", [pour.id], words, [lift])
    elif depth_mm > deepest + TOLERANCE:
        words = f"{name} is {depth_mm:g} mm deep; {whose} allows {deepest:g} mm."
        view.report("lift_depth", [pour.id], words, [lift])
    elif lifts > 1 and depth_mm < least - TOLERANCE:
        words = f"{name} is {depth_mm:g} mm thin; none may be thinner than {least:g} mm."
        view.report("lift_depth", [pour.id], words, [lift])


def _check_mass(view: View, lift: Lift, layers_kg: float) -> None:
    name = f"Lift {lift.lift} of pour {lift.pour}"
    if not same(lift.mass_kg, layers_kg):
        words = f"{name} says {lift.mass_kg:g} kg; its layers weigh {layers_kg:g} kg."
        view.report("lift_mass", [lift.pour], words, [lift])
    portions_kg = sum(p.kg for p, _ in view.portions_of.get((lift.pour, lift.lift), ()))
    if not same(lift.mass_kg, portions_kg):
        words = f"{name} takes {lift.mass_kg:g} kg; its portions add up to {portions_kg:g} kg."
        parts = [lift, *view.pot_parts(lift.pour, lift.lift)]
        view.report("lift_mass", [lift.pour], words, parts)


def _check_portions(view: View) -> None:
    known = {(lift.pour, lift.lift) for lift in view.plan.lifts}
    for batch in view.plan.batches:
        for portion in batch.portions:
            subjects = [batch.id, portion.pour]
            name = f"Batch {batch.id}: the portion for lift {portion.lift} of pour {portion.pour}"
            if portion.pour in view.pours and (portion.pour, portion.lift) not in known:
                view.report("lift_mass", subjects, f"{name} has no such lift.", [batch])
            if not portion.kg > 0:
                words = f"{name} is {portion.kg:g} kg; it must be above 0 kg."
                view.report("lift_mass", subjects, words, [batch])


def check_batches(view: View) -> None:
    """Judge ``sharing``, ``batch_mass``, ``batch_clock`` and ``pot_life``."""
    for batch in view.plan.batches:
        _check_sharing(view, batch)
        system = view.systems.get(batch.system)
        if system is None:
            words = f"Batch {batch.id} is of system {batch.system!r}, which is not listed."
            view.report("sharing", [batch.id], words, [batch])
            continue
        _check_mixed(view, batch, system)
        _check_clock(view, batch, system)
        _check_pot_life(view, batch, system)


def _check_sharing(view: View, batch: Batch) -> None:
    pours = {p.pour: view.pours[p.pour] for p in batch.portions if p.pour in view.pours}
    for pour in pours.values():
        if pour.system != batch.system:
            words = f"Batch {batch.id} of {batch.system} serves pour {pour.id} of {pour.system}."
            view.report("sharing", [batch.id, pour.id], words, [batch])
    if len({p.pour for p in batch.portions}) < len(batch.portions):
        words = f"Batch {batch.id} has two portions for one pour; join them."
        view.report("sharing", [batch.id, *pours], words, [batch])
    if len(pours) > 1:
        _check_shared(view, batch, pours)


def _check_shared(view: View, batch: Batch, pours: dict[str, Pour]) -> None:
    settings, system = view.problem.settings, view.systems.get(batch.system)
    most = settings.most_tools_per_batch
    if system is not None:
        most = min(most, system.most_tools_per_batch)
    subjects = [batch.id, *pours]
    if len(pours) > most:
        words = f"Batch {batch.id} serves {len(pours)} tools; at most {most} may share a pot."
        view.report("sharing", subjects, words, [batch])
    if not settings.allow_sharing:
        words = f"Batch {batch.id} serves {len(pours)} tools; sharing is switched off."
        view.report("sharing", subjects, words, [batch])
    for pour in pours.values():
        if not pour.may_share:
            words = f"Batch {batch.id} is shared, but pour {pour.id} must have its own pot."
            view.report("sharing", [batch.id, pour.id], words, [batch])


def _check_mixed(view: View, batch: Batch, system: System) -> None:
    poured = sum(p.kg for p in batch.portions)
    needed = poured + system.residue_fixed_kg + system.residue_share * poured
    if not batch.portions:
        words = f"Batch {batch.id} is empty: it has no portion."
        view.report("batch_mass", [batch.id], words, [batch])
    if not same(batch.mixed_kg, needed):
        words = (
            f"Batch {batch.id} mixes {batch.mixed_kg:g} kg; {poured:g} kg poured and the residue "
            f"make {needed:g} kg."
        )
        view.report("batch_mass", [batch.id], words, [batch])
    mixer = view.mixers.get(batch.mixer)
    most = {f"system {system.id}'s vessel": system.vessel_kg}
    least = {f"system {system.id}": system.least_batch_kg}
    if mixer is not None:
        most[f"mixer {mixer.id}"], least[f"mixer {mixer.id}"] = mixer.largest_kg, mixer.least_kg
    for whose, limit in most.items():
        if batch.mixed_kg > limit + TOLERANCE:
            words = f"Batch {batch.id} mixes {batch.mixed_kg:g} kg; {whose} holds {limit:g} kg."
            view.report("batch_mass", [batch.id], words, [batch])
    for whose, limit in least.items():
        if batch.mixed_kg < limit - TOLERANCE:
            words = f"Batch {batch.id} mixes {batch.mixed_kg:g} kg; {whose} needs {limit:g} kg."
            view.report("batch_mass", [batch.id], words, [batch])


def _check_clock(view: View, batch: Batch, system: System) -> None:
    """Walk through the batch and compare each time with the one before plus its length."""
    steps = [
        ("first contact", batch.contact_min, batch.start_min, system.weigh_min, "weighing"),
        ("pour start", batch.pour_start_min, batch.contact_min, system.mix_min, "mixing"),
    ]
    before, gap, why = batch.pour_start_min, 0, "mixing ends"
    for portion in sorted(batch.portions, key=lambda p: (p.start_min, p.end_min)):
        name = f"portion for pour {portion.pour}"
        steps.append((f"{name} start", portion.start_min, before, gap, why))
        minutes = pour_minutes(portion.kg, system.pour_rate_kg_min)
        if minutes is not None:
            what = f"pouring {portion.kg:g} kg"
            steps.append((f"{name} end", portion.end_min, portion.start_min, minutes, what))
        before, gap, why = portion.end_min, system.move_min, "moving on"
    steps.append(("pour end", batch.pour_end_min, before, 0, "the last portion"))
    steps.append(("end", batch.end_min, batch.pour_end_min, system.clean_min, "cleaning"))
    for what, at, previous, minutes, why in steps:
        if at != previous + minutes:
            words = (
                f"Batch {batch.id}: {what} is at {view.when(at)}, {at - previous} min on; "
                f"{why} takes {minutes} min."
            )
            view.report("batch_clock", [batch.id], words, [batch])


def _check_pot_life(view: View, batch: Batch, system: System) -> None:
    pot_life = condition_at(system, batch.contact_min).pot_life_min
    plannable = view.problem.settings.pot_life_factor * pot_life
    taken = batch.pour_end_min - batch.contact_min
    if taken > plannable + TOLERANCE:
        words = (
            f"Batch {batch.id} is poured {taken} min after first contact; {plannable:g} of its "
            f"{pot_life} min pot life may be planned."
        )
        view.report("pot_life", [batch.id], words, [batch])
