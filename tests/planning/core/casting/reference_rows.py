"""How each row of the physics reference cases is computed by this project."""

import math
from datetime import date

import numpy as np

from planning.core.casting import (
    arrhenius,
    bucket,
    criticality,
    dew_point,
    filled,
    kinetics,
    mixing,
)
from planning.core.casting.conduction import march, radial, steady_rise_k
from planning.core.casting.exotherm import deepest_safe_lift_mm, solve_lift, solve_lifts
from planning.core.casting.faces import HELD, INSULATED, Face, tool_side
from planning.core.casting.system import GlassTransition, Kinetics, Thermal
from shop.core.shelf_life import add_months, shelf_days_used
from tests.planning.core.casting.demo_resin import DEMO, UNBRAKED_DEMO

UNIT = Thermal(1.0, 1.0, 1.0, 1.0, 1.0)
"""Diffusivity and conductivity of 1, so that times and films are Fourier and Biot numbers."""


class Inert:
    """No reaction: conduction alone."""

    def rate(self, temp_k, conversion, out):
        out[:] = 0.0
        return out

    def slopes(self, temp_k, conversion):
        return np.zeros_like(temp_k), np.zeros_like(temp_k)


class Steady(Inert):
    """Heating that neither temperature nor conversion changes."""

    def rate(self, temp_k, conversion, out):
        out[:] = 1.0
        return out


class Exponential(Inert):
    """Rate exp(theta) of thermal explosion theory, levelling off at e^12 so a blow-up passes."""

    LEVEL = np.exp(-12.0)

    def rate(self, temp_k, conversion, out):
        return np.divide(1.0, np.exp(-temp_k) + self.LEVEL, out=out)

    def slopes(self, temp_k, conversion):
        cold = np.exp(-temp_k)
        return cold / (cold + self.LEVEL) ** 2, np.zeros_like(temp_k)


def explode(shape, delta, until, cells=100, outer=HELD, readings=1500):
    """March theta' = laplacian + delta exp(theta) from 0 with the project's own integrator."""
    grid = radial(shape, 1.0, cells, UNIT, outer)
    times = np.linspace(0.0, until, readings)
    return march(grid, Exponential(), delta, 0.0, 0.0, 0.0, times, rtol=1e-7)


def half_slab(biot, fourier, cells=400):
    """Cool a half slab from 1 in surroundings at 0; return the history at 0 and `fourier`."""
    outer = HELD if biot == "infinite" else Face(biot)
    grid = radial("slab", 1.0, cells, UNIT, outer)
    return march(grid, Inert(), 0.0, 0.0, 1.0, 0.0, np.array([0.0, fourier]), rtol=1e-9)


def at_centre(row):
    """Carry cell centres next to the symmetry plane on to it; the profile is even there."""
    return (9 * row[0] - row[1]) / 8


def thermal_explosion(q):
    if "q0_W_per_m3" in q:
        one_metre = criticality.delta_of(
            1.0, q["q0_W_per_m3"], q["E_J_per_mol"], q["k_W_per_mK"], q["Ta_K"] - arrhenius.KELVIN
        )
        return 1000 * math.sqrt(criticality.critical("slab").delta / one_metre)
    if "model" in q:  # one lumped temperature is the limit of a small Biot number
        return criticality.critical("slab", 1e-10).delta / 1e-10
    if "epsilon_RTa_over_E" in q:
        return criticality.critical_slab_arrhenius(q["epsilon_RTa_over_E"]).delta
    quantity = q.get("quantity", "")
    if quantity.startswith("steady centre theta"):
        return at_centre(explode("slab", q["delta"], 60.0).temps_k[-1])
    if quantity.startswith("time to blow-up"):
        until = 4.0 if q["delta"] == 1.0 else 0.8
        history = explode("slab", q["delta"], until, cells=200, readings=4000)
        return history.times_s[int(np.argmax(history.temps_k[:, 0] > 8.0))]
    biot = math.inf if q.get("Bi", "infinite") == "infinite" else q["Bi"]
    found = criticality.critical(q["shape"], biot)
    return found.theta_max if quantity == "theta_max at criticality" else found.delta


def slab_one_term(q):
    """First eigenvalue and coefficient of the project's own operator, on two grids."""
    from scipy.linalg import eigh_tridiagonal

    def first(cells):
        grid = radial("slab", 1.0, cells, UNIT, Face(q["Bi"]))
        diagonal = (grid.conductances[:-1] + grid.conductances[1:]) / grid.capacities
        beside = -grid.conductances[1:-1] / grid.capacities[0]
        values, vectors = eigh_tridiagonal(diagonal, beside, select="i", select_range=(0, 0))
        vector = vectors[:, 0]
        coefficient = vector.sum() / (vector @ vector) * at_centre(vector)
        return np.array([math.sqrt(values[0]), coefficient])

    # Second order in the cell width, so two grids give the limit (Richardson).
    zeta, coefficient = (4 * first(800) - first(400)) / 3
    return zeta if q["quantity"] == "zeta1_rad" else coefficient


def slab_transient(q):
    return at_centre(half_slab(q["Bi"], q["Fo"]).temps_k[-1])


def slab_heated(q):
    if "Fo_on_half_thickness" in q:
        grid = radial("slab", 1.0, 400, UNIT, HELD)
        times = np.array([0.0, q["Fo_on_half_thickness"]])
        history = march(grid, Steady(), 2.0, 0.0, 0.0, 0.0, times, rtol=1e-9)
        return at_centre(history.temps_k[-1])  # q of 2 makes q l^2/2k, the steady rise, 1
    faces = (HELD, HELD)
    if q.get("faces") == "one held, one adiabatic":
        faces = (HELD, INSULATED)
    elif "h_W_per_m2K" in q:
        faces = (Face(q["h_W_per_m2K"]),) * 2
    elif "h_top_W_per_m2K" in q:
        faces = (Face(q["h_tool_W_per_m2K"]), Face(q["h_top_W_per_m2K"]))
    return steady_rise_k(q["q_W_per_m3"], q["L_m"], q["k_W_per_mK"], *faces)


def law_of(q):
    return Kinetics(
        a1_per_s=q.get("A1_per_s", 0.0),
        e1_j_mol=q.get("E1_J_per_mol", 0.0),
        a2_per_s=q["A2_per_s"],
        e2_j_mol=q["E2_J_per_mol"],
        m=q["m"],
        n=q["n"],
        brake_c=q.get("C", 0.0),
        brake_ac0=q.get("ac0", 0.0),
        brake_act_per_k=q.get("acT_per_K", 0.0),
        start_conversion=q.get("alpha0", 0.0),
    )


def kamal_isothermal(q):
    if q.get("law") == "k(1-a)^n":
        law = Kinetics(q["k_per_s"], 0.0, 0.0, 0.0, m=1.0, n=q["n"])
    elif q.get("law") == "k(1-a)":
        law = Kinetics(q["k_per_s"], 0.0, 0.0, 0.0, m=1.0, n=1.0)
    elif q.get("law") == "k2 a (1-a)" or "k2_per_s" in q:
        law = Kinetics(0.0, 0.0, q["k2_per_s"], 0.0, 1.0, 1.0, start_conversion=q["alpha0"])
    elif "set" in q:  # the other two-branch law, through the project's quadrature
        return two_branch_min(q["T_C"], q["alpha"])
    else:
        law = law_of(q)
    return kinetics.isothermal_time_min(law, q.get("T_C", 25.0), q["alpha"])


def two_branch_min(temp_c, conversion):
    rt = arrhenius.GAS_CONSTANT_J_MOLK * (temp_c + arrhenius.KELVIN)
    k1 = 2.101e9 * math.exp(-80.7e3 / rt)
    k2 = -2.014e9 * math.exp(-77.8e3 / rt)

    def per_min(a):
        return (k1 + k2 * a) * (1 - a) * (0.47 - a)

    return kinetics.time_to_conversion_s(per_min, 0.0, conversion)


def adiabatic(q):
    if "h_epoxide_kJ_per_eq" in q:
        return kinetics.heat_of_cure_j_g(q["EEW_g"], q["AHEW_g"], q["h_epoxide_kJ_per_eq"])
    if "H_J_per_g" in q:
        cp = 1000 * q["cp_J_per_gK"]
        return Thermal(1.0, cp, 1.0, q["w_reactive"], 1000 * q["H_J_per_g"]).adiabatic_rise_k
    law = law_of(q)

    def along_rise(a):
        return kinetics.rate_at(law, q["T0_C"] + q["dT_ad_K"] * a, a)

    return kinetics.time_to_conversion_s(along_rise, 0.0, q["alpha"]) / 60


def arrhenius_shift(q):
    if "factor" in q:
        energy = arrhenius.activation_energy_j_mol(q["factor"], q["T1_C"], q["T2_C"])
        return energy / 1000
    if "rule" in q:
        return arrhenius.halving_rule_time(q["pot_life_at_T1_min"], q["T1_C"], q["T2_C"])
    return arrhenius.shift_time(q["pot_life_at_T1_min"], q["T1_C"], q["T2_C"], q["E_J_per_mol"])


def equivalent_age(q):
    e, ref = q["E_J_per_mol"], q.get("Tref_C", 25.0)
    if "times_h" in q:
        return arrhenius.equivalent_age(q["times_h"], q["T_C"], ref, e)[-1]
    if "hours" in q:
        first, second = q["hours"]
        times, temps = stepped([(first, q["T_C"][0]), (second, q["T_C"][1])])
        return arrhenius.equivalent_age(times, temps, ref, e)[-1]
    if q["hourly_T_C"] == "constant 18":
        return arrhenius.time_at_age(q["need_h_at_25C"], [0.0], [18.0], 18.0, 25.0, e)
    times, temps = stepped([(8, 22.0), (16, 14.0)] * 3)
    return arrhenius.time_at_age(q["need_h_at_25C"], times, temps, 14.0, 25.0, e)


def stepped(spells):
    """Write steps of constant temperature as a record with changes over a millionth of an hour."""
    clock, times, temps = 0.0, [], []
    for hours, temp_c in spells:
        times += [clock + (1e-6 if times else 0.0), clock + hours]
        temps += [temp_c, temp_c]
        clock += hours
    return times, temps


def mix_ratio(q):
    a, b = q.get("rho_A_kg_per_L"), q.get("rho_B_kg_per_L")
    if "B_parts_by_volume" in q:
        return mixing.hardener_per_100_by_mass(q["B_parts_by_volume"], a, b)
    if "B_parts_by_weight" in q:
        return mixing.hardener_per_100_by_volume(q["B_parts_by_weight"], a, b)
    if "batch_kg" in q:
        return mixing.MixRatio(q["B_by_weight"]).split_kg(q["batch_kg"])[1]
    return mixing.mixed_density_kg_l(q["B_by_weight"], a, b)


def batching(q):
    if "volume_L" in q:
        losses = mixing.Losses(waste_fraction=q["waste_fraction"])
        return mixing.mix_for_volume(q["volume_L"], q["rho_kg_per_L"], losses).total_kg
    if "total_kg" in q:
        none = mixing.Losses(waste_fraction=0.0)
        return mixing.mix_for_volume(q["total_kg"], 1.0, none, q["max_mix_kg"]).pots
    return None


def density(q):
    if "w_resin" in q:
        return filled.density_from_mass_fractions(
            [q["w_resin"], 1 - q["w_resin"]],
            [q["rho_resin_kg_per_L"], q["rho_filler_kg_per_L"]],
        )
    if "phi" in q:
        return filled.filler_mass_fraction(
            q["phi"], q["rho_mix_kg_per_L"], q["rho_filler_kg_per_L"]
        )
    return filled.filler_volume_fraction(
        q["rho_mix_kg_per_L"], q["rho_resin_kg_per_L"], q["rho_filler_kg_per_L"]
    )


def conductivity(form):
    def compute(q):
        extra = (q["shape_A"], q["phi_max"]) if "shape_A" in q else ()
        return form(q["k_matrix_W_per_mK"], q["k_filler_W_per_mK"], q["phi"], *extra)

    return compute


def dew(q):
    if q.get("quantity") == "saturation pressure":
        return dew_point.saturation_pressure_hpa(q["T_C"], tuple(q["coefficients"]))
    if "T_surface_C" in q:
        humidity, margin = q.get("RH_percent", 50.0), q.get("margin_K", 3.0)
        checked = dew_point.check_surface(q["T_air_C"], humidity, q["T_surface_C"], margin)
        return checked.highest_humidity_percent if "margin_K" in q else checked.margin_k
    return dew_point.dew_point_c(q["T_C"], q["RH_percent"], tuple(q["coefficients"]))


def shelf_life(q):
    if "made" not in q:
        stored = [(q["days_at_20C"], 20.0), (q["days_at_30C"], 30.0)]
        return q["life_days_at_20C"] - shelf_days_used(stored, reference_c=20.0, q10=2.0)
    made = date.fromisoformat(q["made"])
    return (add_months(made, q["shelf_life_months"]) - made).days


def lift(q):
    base = tool_side("board")
    top = Face(q.get("h_top_W_per_m2K", 8.0))
    faces = q.get("faces", "")
    if faces == "both adiabatic":
        return solve_lift(UNBRAKED_DEMO, q["depth_mm"], q["T0_C"], INSULATED, INSULATED)
    if faces.startswith("both faces held"):
        base = top = HELD
    elif faces.startswith("tool side adiabatic"):
        base = INSULATED
    elif faces.startswith("tool side h=50"):
        base = Face(50.0)
    return solve_lift(DEMO, q["depth_mm"], q["ambient_C"], base, top)


def safe_depth(q):
    board, air = tool_side("board"), Face(8.0)
    return deepest_safe_lift_mm(DEMO, q["ambient_C"], q["cap_C"], board, air)


def second_lift(q):
    depths = tuple(float(d) for d in q["lifts_mm"])
    return solve_lifts(
        DEMO, depths, (q["gap_h"],), q["ambient_C"], tool_side("board"), Face(8.0)
    ).peak_c


def pot(q):
    return bucket.solve_bucket(DEMO, q["batch_kg"], q["ambient_C"])


def gel_point(q):
    return kinetics.gel_conversion(q["f_amine_H"], q["g_epoxide"], q["ratio_minor_to_major"])


def tg(q):
    glass = GlassTransition(q["Tg0_C"], q["Tg1_C"], q["lambda"])
    return kinetics.glass_transition_c(glass, q["alpha"])


COMPUTED = {
    "thermal_explosion": thermal_explosion,
    "slab_one_term": slab_one_term,
    "slab_transient": slab_transient,
    "slab_heated": slab_heated,
    "kamal_isothermal": kamal_isothermal,
    "adiabatic": adiabatic,
    "stoichiometry": lambda q: mixing.stoichiometric_per_100(q["EEW_g"], q["AHEW_g"]),
    "gel_point": gel_point,
    "tg": tg,
    "arrhenius_shift": arrhenius_shift,
    "equivalent_age": equivalent_age,
    "density": density,
    "mix_ratio": mix_ratio,
    "batching": batching,
    "conductivity_maxwell": conductivity(filled.conductivity_maxwell),
    "conductivity_lewis_nielsen": conductivity(filled.conductivity_lewis_nielsen),
    "conductivity_bruggeman": conductivity(filled.conductivity_bruggeman),
    "cp_mix": lambda q: filled.heat_capacity_of_mix(q["w"], q["cp_kJ_per_kgK"]),
    "dew_point": dew,
    "shelf_life": shelf_life,
    "lift_peak": lambda q: lift(q).peak_c,
    "lift_time_of_peak": lambda q: lift(q).peak_h,
    "lift_gel_core": lambda q: lift(q).gel_core_h,
    "lift_gel_top": lambda q: lift(q).gel_top_h,
    "lift_adiabatic": lambda q: lift(q).peak_c,
    "lift_boundary": lambda q: lift(q).peak_c,
    "safe_depth": safe_depth,
    "second_lift": second_lift,
    "pot_life": lambda q: pot(q).pot_life_min,
    "pot_peak": lambda q: pot(q).peak_core_c,
    "bucket": lambda q: bucket.bucket_diameter_mm(q["batch_kg"], q["rho_kg_per_m3"]),
}

NOT_COMPUTED = ("P083", "P158", "P159", "P160", "P161")
"""Rows of these topics that no function here is asked for."""
