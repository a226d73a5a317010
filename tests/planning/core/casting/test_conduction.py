"""Conduction against series, analytic and steady solutions of the textbooks."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from planning.core.casting.conduction import march, radial, slab, steady_rise_k
from planning.core.casting.faces import HELD, INSULATED, Face
from planning.core.casting.system import Thermal
from tests.planning.core.casting.demo_resin import THERMAL
from tests.planning.core.casting.reference_rows import UNIT, Inert, Steady


def plane_wall(biot, fourier, x, terms=60):
    """Series for a slab cooled on both sides (Carslaw and Jaeger, from memory)."""
    total = 0.0
    for i in range(terms):
        z = brentq(
            lambda z: z * math.sin(z) - biot * math.cos(z), i * math.pi, (i + 0.5) * math.pi
        )
        total += (
            4 * math.sin(z) / (2 * z + math.sin(2 * z)) * math.exp(-z * z * fourier)
        ) * math.cos(z * x)
    return total


def held_sphere(fourier, terms=60):
    """Centre of a sphere quenched to a held surface (from memory)."""
    return 2 * sum(
        (-1) ** (n + 1) * math.exp(-((n * math.pi) ** 2) * fourier) for n in range(1, terms)
    )


@pytest.mark.parametrize("biot", [0.1, 0.5, 1.0, 10.0])
@pytest.mark.parametrize("fourier", [0.05, 0.2, 1.0])
def test_cooling_slab_follows_the_series_at_every_depth(biot, fourier):
    grid = radial("slab", 1.0, 200, UNIT, Face(biot))
    history = march(grid, Inert(), 0.0, 0.0, 1.0, 0.0, np.array([0.0, fourier]), rtol=1e-9)
    series = [plane_wall(biot, fourier, x) for x in grid.centres_m]
    assert history.temps_k[-1] == pytest.approx(series, abs=2e-5)


@pytest.mark.parametrize("fourier", [0.05, 0.1, 0.3])
def test_cooling_sphere_follows_the_series(fourier):
    grid = radial("sphere", 1.0, 400, UNIT, HELD)
    history = march(grid, Inert(), 0.0, 0.0, 1.0, 0.0, np.array([0.0, fourier]), rtol=1e-9)
    assert history.temps_k[-1, 0] == pytest.approx(held_sphere(fourier), rel=1e-4)


@pytest.mark.parametrize(("base", "top"), [
    pytest.param(HELD, HELD, id="both held"),
    pytest.param(Face(5.0), Face(8.0), id="unequal films"),
    pytest.param(INSULATED, Face(8.0), id="insulated base"),
    pytest.param(HELD, INSULATED, id="insulated top"),
])  # fmt: skip
def test_steady_heating_reaches_the_analytic_parabola(base, top):
    heating, depth = 500.0, 0.07
    grid = slab([(depth, 400, THERMAL)], base, top)
    rate = heating / (THERMAL.density_kg_m3 * THERMAL.heat_capacity_j_kgk)
    history = march(grid, Steady(), rate, 0.0, 0.0, 0.0, np.array([0.0, 3e6]), rtol=1e-8)
    steady = steady_rise_k(heating, depth, THERMAL.conductivity_w_mk, base, top)
    assert history.temps_k[-1].max() == pytest.approx(steady, rel=1e-4)


def test_heat_is_neither_made_nor_lost_between_insulated_layers():
    cold = Thermal(1700.0, 1290.0, 0.8, 0.4, 350e3)
    warm = Thermal(900.0, 2000.0, 0.2, 0.4, 350e3)
    grid = slab([(0.05, 30, cold), (0.03, 20, warm)], INSULATED, INSULATED)
    start = np.concatenate([np.full(30, 300.0), np.full(20, 350.0)])
    history = march(grid, Inert(), 0.0, 0.0, start, 0.0, np.array([0.0, 1e3, 1e7]))
    held = history.temps_k @ grid.capacities
    assert held == pytest.approx([held[0]] * 3, rel=1e-9)
    assert history.temps_k[-1] == pytest.approx([held[0] / grid.capacities.sum()] * 50, rel=1e-6)


def test_finer_cells_converge_with_the_square_of_their_width():
    def error(cells):
        grid = radial("slab", 1.0, cells, UNIT, Face(1.0))
        history = march(grid, Inert(), 0.0, 0.0, 1.0, 0.0, np.array([0.0, 0.5]), rtol=1e-10)
        return abs(history.temps_k[-1, -1] - plane_wall(1.0, 0.5, grid.centres_m[-1]))

    coarse, middle, fine = error(10), error(20), error(40)
    assert 3.5 < coarse / middle < 4.5
    assert 3.5 < middle / fine < 4.5


def test_two_insulated_faces_have_no_steady_state():
    with pytest.raises(ValueError, match="0 W/m2K on both faces"):
        steady_rise_k(500.0, 0.07, 0.8, INSULATED, Face(0.0))
