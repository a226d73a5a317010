"""Critical values of thermal explosion theory, from the lift's own transient integrator."""

import math

import pytest

from planning.core.casting.criticality import critical, delta_of, lift_criticality
from planning.core.casting.faces import HELD, INSULATED, Face
from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO
from tests.planning.core.casting.reference_rows import explode

PUBLISHED = {"slab": 0.878458, "cylinder": 2.000000, "sphere": 3.321992}
"""0.88, 2 and 3.32 are printed in the abstract of "Thermal explosions and the disappearance of
criticality at small activation energies"; further digits computed by centre-out integration."""


def blows_up(shape, delta):
    # Just above the critical value a body lingers near theta_max before it runs away; 400
    # diffusion times are enough to tell at 0.05 % of it.
    return explode(shape, delta, 400.0, cells=100, readings=3).temps_k.max() > 5.0


@pytest.mark.parametrize("shape", PUBLISHED)
def test_bisection_with_the_transient_solver_finds_the_published_value(shape):
    low, high = 0.5 * PUBLISHED[shape], 1.5 * PUBLISHED[shape]
    assert not blows_up(shape, low)
    assert blows_up(shape, high)
    while high - low > 2e-4 * PUBLISHED[shape]:
        middle = (low + high) / 2
        low, high = (low, middle) if blows_up(shape, middle) else (middle, high)
    assert (low + high) / 2 == pytest.approx(PUBLISHED[shape], rel=1e-3)


def test_finer_cells_bring_the_critical_slab_closer():
    """On 25, 50 and 100 half-slab cells the error falls by about four each time."""

    def found(cells):
        low, high = 0.85, 0.90
        for _ in range(16):
            middle = (low + high) / 2
            hot = explode("slab", middle, 2000.0, cells=cells, readings=3).temps_k.max() > 5.0
            low, high = (low, middle) if hot else (middle, high)
        return low

    errors = [0.8784576797 - found(cells) for cells in (25, 50, 100)]
    assert errors[0] > errors[1] > errors[2] > -1e-5
    assert 3.0 < errors[0] / errors[1] < 5.0


def test_closed_form_of_the_slab_agrees():
    """delta = 2 exp(-tm) arccosh(exp(tm/2))^2, maximised (from memory, row P007)."""
    best = max(
        2 * math.exp(-tm) * math.acosh(math.exp(tm / 2)) ** 2
        for tm in (1.0 + 1e-5 * i for i in range(40_000))
    )
    assert critical("slab").delta == pytest.approx(best, rel=1e-8)


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0])
def test_convective_face_settles_just_below_and_runs_away_just_above(biot):
    delta = critical("slab", biot).delta
    until = 600.0 / delta

    def hottest(d):
        return explode("slab", d, until, outer=Face(biot), readings=3).temps_k.max()

    assert hottest(0.99 * delta) < 2.0
    assert hottest(1.01 * delta) > 5.0


def test_delta_grows_with_the_square_of_depth():
    once = delta_of(0.035, 3722.0, 53e3, 0.8, 25.0)
    assert delta_of(0.070, 3722.0, 53e3, 0.8, 25.0) == pytest.approx(4 * once)
    assert once == pytest.approx(0.41, abs=0.02)  # 0.40 in the reference text


@pytest.mark.parametrize(("shape", "biot", "said"), [
    pytest.param("cube", 1.0, "slab, cylinder, sphere", id="unknown shape"),
    pytest.param("slab", 0.0, "biot is 0", id="no heat loss at all"),
])  # fmt: skip
def test_nonsense_is_refused_by_name(shape, biot, said):
    with pytest.raises(ValueError, match=said):
        critical(shape, biot)


def test_demo_lift_is_held_by_cold_faces_and_not_by_air():
    """Reference text, section 1: delta 0.40; critical 0.878 held, 0.095 in air at Bi 0.28."""
    held = lift_criticality(DEMO, 70.0, 25.0, HELD, HELD)
    air = lift_criticality(DEMO, 70.0, 25.0, BOARD, AIR)
    assert held.delta == air.delta == pytest.approx(0.40, abs=0.01)
    assert held.share < 1 < air.share
    assert air.critical_delta == pytest.approx(0.095 * 0.923 / 0.878, rel=0.03)


def test_lift_with_no_way_out_for_its_heat_has_no_critical_value():
    assert lift_criticality(DEMO, 70.0, 25.0, INSULATED, INSULATED) is None
