"""An invented filled resin system, the one the lift rows of the reference cases were made with."""

from dataclasses import replace

from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.system import Datasheet, Kinetics, SystemData, Thermal, TimePoint

KINETICS = Kinetics(
    a1_per_s=1.9324e4,
    e1_j_mol=52.0e3,
    a2_per_s=4599.5,
    e2_j_mol=50.0e3,
    m=1.0,
    n=1.8,
    brake_c=30.0,
    brake_ac0=-0.25,
    brake_act_per_k=0.0036,
)
THERMAL = Thermal(
    density_kg_m3=1700.0,
    heat_capacity_j_kgk=1290.0,
    conductivity_w_mk=0.80,
    reactive_fraction=0.417,
    heat_j_kg=350e3,
)
DEMO = SystemData("Demo (invented)", kinetics=KINETICS, thermal=THERMAL)
UNBRAKED_DEMO = replace(DEMO, kinetics=replace(KINETICS, brake_c=0.0))

SHEET = Datasheet(
    pot_life=TimePoint(50.0, 25.0, 0.1),
    gel=TimePoint(300.0, 25.0),
    demould=TimePoint(1440.0, 23.0),
    least_gap=TimePoint(240.0, 23.0),
    greatest_gap=TimePoint(720.0, 23.0),
    deepest_lift_mm=70.0,
)
SHEET_ONLY = SystemData("Datasheet only (invented)", datasheet=SHEET)
BOTH = replace(DEMO, datasheet=SHEET, peak_cap_c=80.0)

BOARD, AIR = tool_side("board"), AIR_TOP
