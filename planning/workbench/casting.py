"""Volume, mix and over-pour: the arithmetic before a pour."""

from __future__ import annotations

from planning.core.casting.geometry import BadGeometry, CastingShape
from planning.core.casting.mixing import (
    Losses,
    MixRatio,
    correct_overpour,
    hardener_per_100_by_mass,
    hardener_per_100_by_volume,
    mix_for_volume,
    mixed_density_kg_l,
)
from planning.core.casting.solids import casting_in_box, frustum, spherical_cap
from planning.core.casting.weighing import Targets, smallest_honest_batch_g, weigh_targets
from planning.workbench.answer import Answer, Table, decimal, places_of, shown
from planning.workbench.inputs import CalculatorForm, MixForm, OverpourForm, RatioForm, VolumeForm

USUAL_TOLERANCE_PERCENT = 2.0


def volume(form: VolumeForm) -> Answer | None:
    """Return volume, mass, lifts of equal depth, and how deep a poured volume stands."""
    given, info = form.cleaned_data, form.info
    density = given["density_kg_l"]
    if density is None and info is not None:
        density = float(info.mixed_density_kg_l)
    shape = _shape(form)
    if shape is None:
        return None
    answer = Answer()
    answer.add("volume_l", "Volume", shape.volume_l(), "L", 3)
    if density is not None:
        answer.add("mass_kg", "Mass", shape.volume_l() * density, "kg", 3, "Without any loss.")
    poured = given["poured_l"]
    if poured is not None:
        if poured > shape.volume_l():
            form.add_error(
                "poured_l",
                f"poured_l is {poured:g} L; the cavity holds {shape.volume_l():.3f} L.",
            )
            return None
        answer.add("poured_depth_mm", "It stands", shape.depth_for_volume(poured), "mm deep", 1)
    deepest = given["max_lift_mm"] or (float(info.deepest_lift_mm) if info else None)
    if deepest is not None:
        _lifts(answer, shape, deepest, density)
    if shape.assumption:
        answer.say(shape.assumption, "mind")
    return answer


def mix(form: MixForm) -> Answer | None:
    """Return what to weigh, and from which mass on the scale weighs it honestly."""
    given, info = form.cleaned_data, form.info
    ratio = _ratio(form)
    density = given["density_kg_l"] or (float(info.mixed_density_kg_l) if info else None)
    if density is None and ratio is not None and given["resin_kg_l"] and given["hardener_kg_l"]:
        density = mixed_density_kg_l(
            ratio.hardener_per_100, given["resin_kg_l"], given["hardener_kg_l"]
        )
    total_g, pots = given["total_g"], 1
    answer = with_hazards(form)
    if total_g is None:
        if form.needed("density_kg_l", density) is None or ratio is None:
            return None
        total_g, pots = _need(answer, form, float(density or 0))
    if ratio is None:
        return None
    answer.data["hardener_per_100"] = decimal(ratio.hardener_per_100, 4)
    steps = given["readability_g"], given["hardener_readability_g"]
    targets = weigh_targets(ratio, total_g, *steps)
    places = places_of(*steps)
    _weighing(answer, targets, pots, places)
    least_g = smallest_honest_batch_g(ratio, *steps)
    answer.add(
        "smallest_honest_batch_g", "Smallest batch this scale weighs honestly", least_g, "g",
        places,
        f"From there on every reading keeps {ratio.tolerance_percent:g} %.",
    )  # fmt: skip
    if not targets.within_tolerance:
        answer.say(
            f"This batch is too small for the scale: the ratio may be "
            f"{targets.worst_error_percent:.1f} % off and the system allows "
            f"{ratio.tolerance_percent:g} %. Mix at least {least_g:g} g, or use a finer scale.",
            "stop",
        )
    resin, hardener = given["resin_kg_l"], given["hardener_kg_l"]
    if resin and hardener:
        by_volume = hardener_per_100_by_volume(ratio.hardener_per_100, resin, hardener)
        answer.add(
            "hardener_per_100_by_volume", "The same by volume", by_volume, "to 100", 2,
            "Never mix the two kinds of ratio.",
        )  # fmt: skip
    answer.say("Stir the whole pail before weighing: filler settles into the resin's bottom.")
    return answer


def overpour(form: OverpourForm) -> Answer | None:
    """Return what to add, the new total, and what it no longer fits."""
    given, ratio = form.cleaned_data, _ratio(form)
    if ratio is None:
        return None
    answer = with_hazards(form)
    room = {
        name: 1000 * given[field]
        for name, field in (("pot_g", "pot_kg"), ("lift_g", "lift_kg"), ("stock_g", "stock_kg"))
        if given[field] is not None
    }
    fix = correct_overpour(
        ratio, given["resin_g"], given["hardener_g"], given["readability_g"], **room
    )
    places = places_of(given["readability_g"], given["resin_g"], given["hardener_g"])
    answer.data |= {
        "within_tolerance": fix.within_tolerance,
        "add": fix.add or None,
        "problems": list(fix.problems),
    }
    answer.add("add_g", f"Add {fix.add}" if fix.add else "Add", fix.add_g, "g", places)
    answer.add("new_total_g", "The batch becomes", fix.new_total_g, "g", places)
    answer.add("error_percent", "The ratio is off by", fix.error_percent, "%", 2)
    answer.add("error_after_percent", "and after adding by", fix.error_after_percent, "%", 2)
    if fix.within_tolerance:
        answer.say(
            f"Within {ratio.tolerance_percent:g} % of the ratio: add nothing, mix it.", "good"
        )
    for problem in fix.problems:
        answer.say(problem, "stop")
    if not fix.within_tolerance and not fix.problems:
        checked = "it fits what was given" if room else "pot, lift and stock were not given"
        answer.say(
            f"Add {fix.add_g:g} g of {fix.add} before mixing; {checked}.",
            "good" if room else "mind",
        )
    return answer


def _shape(form: VolumeForm) -> CastingShape | None:
    given = form.cleaned_data
    wanted = {
        "box": ("length_mm", "width_mm"),
        "round": ("r_bottom_mm", "r_top_mm"),
        "bowl": ("radius_mm",),
    }[given["shape"]]
    missing = [name for name in wanted if given[name] is None]
    for name in missing:
        form.add_error(name, f"{name} is missing; a {given['shape']} needs it.")
    if missing:
        return None
    try:
        if given["shape"] == "round":
            return frustum(given["r_bottom_mm"], given["r_top_mm"], given["depth_mm"])
        if given["shape"] == "bowl":
            return spherical_cap(given["radius_mm"], given["depth_mm"])
        return casting_in_box(
            length_mm=given["length_mm"], width_mm=given["width_mm"], depth_mm=given["depth_mm"],
            wall_draft_deg=given["wall_draft_deg"] or 0.0,
            pattern_volume_l=given["pattern_volume_l"] or 0.0,
            pattern_height_mm=given["pattern_height_mm"],
        )  # fmt: skip
    except BadGeometry as error:
        name = {"height_mm": "depth_mm"}.get(error.field, error.field)
        form.add_error(name if name in form.fields else None, str(error))
        return None


def _lifts(answer: Answer, shape: CastingShape, deepest_mm: float, density: float | None) -> None:
    layers = shape.equal_layers(deepest_mm)
    answer.data["lifts"] = [
        {
            "depth_mm": decimal(layer.depth_mm, 1),
            "volume_l": decimal(layer.volume_l, 3),
            "mass_kg": decimal(layer.volume_l * density if density else None, 3),
        }
        for layer in layers
    ]
    answer.tables.append(Table(
        f"In lifts of at most {deepest_mm:g} mm, from the bottom",
        ("Lift", "Depth, mm", "Volume, L", "Mass, kg"),
        tuple(
            (
                str(n), shown(layer.depth_mm, 1), shown(layer.volume_l, 3),
                shown(layer.volume_l * density if density else None, 3),
            )
            for n, layer in enumerate(layers, start=1)
        ),
    ))  # fmt: skip


def _need(answer: Answer, form: MixForm, density_kg_l: float) -> tuple[float, int]:
    """Add the losses to a volume; return the mass of one pot in g and how many pots."""
    given = form.cleaned_data
    waste = 5.0 if given["waste_percent"] is None else given["waste_percent"]
    losses = Losses(
        waste_fraction=waste / 100,
        residue_kg=(given["residue_g"] or 0.0) / 1000,
        brush_coat_kg_m2=(given["brush_coat_g"] or 0.0) / 1000,
        brush_coat_m2=1.0,
    )
    largest = given["largest_pot_kg"]
    need = mix_for_volume(
        given["volume_l"], density_kg_l, losses, float("inf") if largest is None else largest
    )
    answer.data["pots"] = need.pots
    answer.add(
        "needed_kg", "To mix in all", need.total_kg, "kg", 3,
        f"Cavity {need.cast_kg:.3f}, brush coat {need.brush_coat_kg:.3f}, waste "
        f"{need.waste_kg:.3f}, left in pots {need.residue_kg:.3f} kg.",
    )  # fmt: skip
    return 1000 * need.pot_kg, need.pots


def _weighing(answer: Answer, t: Targets, pots: int, places: int) -> None:
    times = f"In each of {pots} pots. " if pots > 1 else ""
    answer.add(
        "resin_g", "Resin", t.resin_g, "g", places,
        f"{times}{t.resin_low_g:g} to {t.resin_high_g:g} g keep the ratio."
        if t.within_tolerance else times,
    )  # fmt: skip
    answer.add(
        "hardener_g", "Hardener", t.hardener_g, "g", places,
        f"{times}{t.hardener_low_g:g} to {t.hardener_high_g:g} g keep the ratio."
        if t.within_tolerance else times,
    )  # fmt: skip
    answer.add("batch_g", "Together", t.total_g, "g", places, times)
    answer.add(
        "worst_error_percent", "Ratio off by at most", t.worst_error_percent, "%", 2,
        "From what the scale does not show.",
    )  # fmt: skip
    answer.data["within_tolerance"] = t.within_tolerance


def _ratio(form: RatioForm) -> MixRatio | None:
    info = form.info
    otherwise = float(info.hardener_per_100) if info else None
    by_volume = form.cleaned_data.get("hardener_per_100_by_volume")
    if by_volume is not None:
        otherwise = hardener_per_100_by_mass(
            by_volume, form.cleaned_data["resin_kg_l"], form.cleaned_data["hardener_kg_l"]
        )
    per_100 = form.needed("hardener_per_100", otherwise)
    tolerance = form.cleaned_data["tolerance_percent"]
    if tolerance is None:
        tolerance = float(info.ratio_tolerance_percent) if info else USUAL_TOLERANCE_PERCENT
    return None if per_100 is None else MixRatio(per_100, tolerance)


def with_hazards(form: CalculatorForm) -> Answer:
    """Begin an answer with the hazard statements of the chosen system's parts."""
    answer = Answer()
    info = form.info
    if info is not None:
        parts = (info.resin, info.hardener)
        answer.hazard_codes = tuple(
            dict.fromkeys(code for part in parts for code in part.hazard_statements)
        )
        words = {part.signal_word for part in parts}
        answer.signal_word = next((w for w in ("Danger", "Warning") if w in words), "")
    return answer
