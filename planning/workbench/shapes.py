"""
What each calculator answers, for the description of the API.

Figures are decimals as text, with the unit in the name. Where a figure is not asked for or cannot
be worked out it is null or left out, so none is promised.
"""

from __future__ import annotations

from planning.workbench.sheet_values import SHOP_TEMPS_C
from shared.api.shapes import (
    COUNT,
    DECIMAL,
    TEXT,
    YES_NO,
    Schema,
    absent,
    maybe,
    obj,
    one_of,
    rows,
    told,
)  # fmt: skip

FIGURE = maybe(DECIMAL)


def _figures(names: str) -> dict[str, Schema]:
    return dict.fromkeys(names.split(), FIGURE)


def _yes_no(names: str) -> dict[str, Schema]:
    return {name: maybe(YES_NO) for name in names.split()}


def _limits(*named: tuple[str, str]) -> dict[str, Schema]:
    """Return the four members of a limit: what binds, why, and both it was chosen from."""
    found: dict[str, Schema] = {}
    for name, unit in named:
        found |= _figures(f"{name}_{unit} {name}_datasheet_{unit} {name}_computed_{unit}")
        found[f"{name}_basis"] = told(
            one_of("datasheet", "computed", "unknown"), "Which of the two is the stricter."
        )
    return found


DEPTHS = ("pot_life_min", "deepest_lift_mm", "demould_h")
MEMBERS: dict[str, dict[str, Schema]] = {
    "volume": {
        **_figures("volume_l mass_kg poured_depth_mm"),
        "lifts": rows(obj(**_figures("depth_mm volume_l mass_kg")), "From the bottom."),
    },
    "mix": {
        **_figures(
            "hardener_per_100 needed_kg resin_g hardener_g batch_g worst_error_percent "
            "smallest_honest_batch_g hardener_per_100_by_volume"
        ),
        **_yes_no("within_tolerance"),
        "pots": COUNT,
    },
    "over-pour": {
        **_figures("add_g new_total_g error_percent error_after_percent"),
        **_yes_no("within_tolerance"),
        "add": told(maybe(TEXT), "Which of the two to add."),
        "problems": rows(TEXT),
    },
    "pot-life": {
        **_limits(("pot_life", "min"), ("gel", "min")),
        **_figures("largest_batch_kg needed_min forgotten_peak_c forgotten_peak_after_min"),
        "bound_by": told(TEXT, "What sets the largest batch."),
    },
    "lift": {
        **_limits(("deepest_lift", "mm")),
        **_figures(
            "peak_c peak_h gel_core_h gel_top_h heat_held_share conversion_at_end "
            "demould_conversion tg_c"
        ),
        **_yes_no("depth_allowed"),
        "curve": rows(obj(**_figures("h hottest_c top_c")), "Hours from pouring."),
        "peak_by_depth": rows(obj(**_figures("depth_mm shop_c peak_c"))),
    },
    "section": {
        **_limits(("demould_due", "h")),
        **_figures(
            "edge_share peak_c peak_h wide_peak_c wide_peak_h rise_share gelled_h cured_h "
            "wide_gelled_h wide_cured_h wide_demould_h time_share edge_cured_h"
        ),
        **_yes_no("wide_is_hotter wide_is_later"),
        "by_width": rows(
            obj(**_figures("width_mm peak_c rise_share cured_h demould_h time_share"))
        ),
    },
    "data-sheet": _figures(
        " ".join(
            f"{former}{name}_at_{shop_c}_c"
            for shop_c in SHOP_TEMPS_C
            for name in DEPTHS
            for former in ("", "former_")
        )
    ),
    "clocks": {
        **_limits(("opens", "h"), ("closes", "h")),
        **_figures("gelled_h cooled_h"),
        **_yes_no("overlap never_cools"),
        "ways_out": rows(obj(kind=TEXT, words=TEXT, **_figures("depth_mm wait_h shop_c"))),
    },
    "cure": {
        **_limits(("demould_due", "h")),
        **_figures(
            "age_h conversion_percent tg_c post_cure_ends_h tg_after_post_cure_c "
            "conversion_after_post_cure"
        ),
        **_yes_no("stalls may_be_demoulded service_ok"),
        "stages": rows(obj(kind=TEXT, **_figures("from_h to_h from_c to_c"))),
    },
    "dew-point": {
        **_figures("dew_point_c margin_k highest_humidity_percent lowest_surface_c"),
        **_yes_no("dry_enough"),
    },
    "fit": {
        **_figures(
            "activation_kj_mol activation_low_kj_mol activation_high_kj_mol time_at_25_c_min "
            "worst_miss_percent rms_k"
        ),
        "figures": rows(obj(name=TEXT, **_figures("value low high")), "SI units."),
        "kinetics": obj(**_figures("a1_per_s a2_per_s heat_j_kg fitted_from_c fitted_to_c")),
        "register": told(
            {"type": "object", "additionalProperties": True},
            "The whole of a system's kinetics, as `kinetics` of a resin system takes it.",
        ),
    },
    "properties": _figures(
        "filler_volume_percent filler_mass_percent reactive_fraction density_check_kg_l "
        "heat_capacity_kj_kgk conductivity_maxwell_w_mk conductivity_lewis_nielsen_w_mk "
        "conductivity_bruggeman_w_mk hardener_per_100 heat_j_g gel_conversion"
    ),
}
NOTES = rows(obj(tone=told(one_of("good", "mind", "stop", ""), "How grave it is."), words=TEXT))


def shape_of(name: str) -> Schema:
    """Return what a calculator of this name answers."""
    hazards = rows(TEXT, "Codes of the hazard statements of what is mixed (GHS).")
    members = {**MEMBERS[name], "notes": NOTES, "hazard_statements": hazards}
    return obj(**{member: absent(schema) for member, schema in members.items()})


CALCULATORS = obj(
    items=rows(obj(name=TEXT, title=TEXT, about=TEXT, parameters=rows(TEXT, "Their names.")))
)
