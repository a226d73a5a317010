"""Two invented systems: T with kinetics, Q with datasheet points alone."""

from decimal import Decimal

import pytest

from tests.factories.shop import make_material, make_system

KINETICS = {
    "a1_per_s": 19324.0, "e1_j_mol": 52000.0, "a2_per_s": 4599.5, "e2_j_mol": 50000.0,
    "m": 1.0, "n": 1.8, "brake_c": 30.0, "brake_ac0": -0.25, "brake_act_per_k": 0.0036,
    "thermal": {
        "density_kg_m3": 1700, "heat_capacity_j_kgk": 1290, "conductivity_w_mk": 0.8,
        "reactive_fraction": 0.417, "heat_j_kg": 350000,
    },
    "glass": {"uncured_c": -20.0, "cured_c": 95.0, "lam": 0.45},
    "marks": {"bond_conversion": 0.75},
}  # fmt: skip


@pytest.fixture
def systems(db):
    hardener = make_material(
        kind="hardener", hazard_statements=["H314", "H317"], signal_word="Danger"
    )
    resin = make_material(hazard_statements=["H315", "H317"], signal_word="Warning")
    sheet = {
        "resin": resin, "hardener": hardener, "hardener_per_100": Decimal(12),
        "ratio_tolerance_percent": Decimal(2), "mixed_density_kg_l": Decimal("1.7"),
        "pot_life_min": Decimal(50), "pot_life_mass_kg": Decimal("0.1"),
        "reference_c": Decimal(25), "gel_time_min": Decimal(300),
        "deepest_lift_mm": Decimal(70), "gap_least_min": Decimal(240),
        "gap_greatest_min": Decimal(720), "demould_min": Decimal(1440), "service_c": Decimal(80),
        "cap_c": Decimal(80), "pour_rate_kg_min": Decimal(2), "mix_min": 6, "move_min": 4,
        "vessel_kg": Decimal(25), "activation_kj_mol": Decimal("52.95"),
    }  # fmt: skip
    return {
        "T": make_system(**sheet, code="T", name="Tooling (invented)", kinetics=KINETICS),
        "Q": make_system(**sheet, code="Q", name="Quick (invented)", kinetics=None),
    }
