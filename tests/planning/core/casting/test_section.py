"""
Conduction in two dimensions against published series, and with cure against known limits.

Slab and cylinder: the series for convection from a surface suddenly met by another temperature
(Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, 3.11 and 7.7). Its first roots are
printed in Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table 5.1 (those below are
from memory; the roots are found here too). Bars and short cylinders: products of the solutions
(Newman, 1936). Self-heating: Frank-Kamenetskii's critical parameters.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, j1

from planning.core.casting.faces import HELD, INSULATED, Face
from planning.core.casting.section import LONG, ROUND, Section, cut, march_section, section_of
from planning.core.casting.system import Thermal
from tests.planning.core.casting.reference_rows import Exponential, Inert, Steady

UNIT = Thermal(1.0, 1.0, 1.0, 1.0, 1.0)
MM = 1000.0
"""With a half width of 1 m, films are Biot and times Fourier numbers."""


def slab_root(biot, n):
    return brentq(lambda z: z * math.sin(z) - biot * math.cos(z), n * math.pi, (n + 0.5) * math.pi)


def slab_middle(biot, fourier, terms=40):
    roots = [slab_root(biot, n) for n in range(terms)]
    return sum(
        4 * math.sin(z) / (2 * z + math.sin(2 * z)) * math.exp(-z * z * fourier) for z in roots
    )


def cylinder_roots(biot, terms=40):
    at = np.linspace(1e-9, (terms + 1) * math.pi, 4000)
    values = at * j1(at) - biot * j0(at)
    signs = np.nonzero(np.diff(np.sign(values)) != 0)[0][:terms]
    return [brentq(lambda z: z * j1(z) - biot * j0(z), at[i], at[i + 1]) for i in signs]


def cylinder_axis(biot, fourier):
    return sum(
        2 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2) * math.exp(-z * z * fourier)
        for z in cylinder_roots(biot)
    )


def cooled(section, fourier, cells=28):
    """Cool a section of 1 in surroundings of 0; return it as rows from the base up."""
    grid = cut(section, UNIT, cells, cells)
    told = march_section(
        grid, Inert(), 0.0, np.zeros(4), 1.0, 0.0, np.array([0.0, fourier]), rtol=1e-8
    )
    return grid, told.temps_k[-1][grid.number]


def middle(grid, temps, *, base=True):
    """Carry the cells next to the middle of the base (or of the height) on to it; it is flat."""

    def carry(edges, rows):
        a, b = ((edges[i] + edges[i + 1]) / 2 for i in (0, 1))
        return (b * b * rows[0] - a * a * rows[1]) / (b * b - a * a)

    column = carry(grid.across_mm, temps.T)
    if base:
        return carry(grid.up_mm, column)
    heights = (grid.up_mm[1:] + grid.up_mm[:-1]) / 2
    return float(np.interp(grid.up_mm[-1] / 2, heights, column))


def half(shape, side, top):
    """Half the height of a bar or cylinder 2 m wide and high: its base is a plane of symmetry."""
    return Section(shape, 2 * MM, MM, INSULATED, Face(side), Face(top))


@pytest.mark.parametrize(("biot", "root", "first"), [
    (0.1, 0.4417, 1.0246), (1.0, 1.2558, 1.2071), (10.0, 2.1795, 1.5677),
])  # fmt: skip
def test_series_of_the_cylinder_is_the_printed_one(biot, root, first):
    z = cylinder_roots(biot, 1)[0]
    assert z == pytest.approx(root, abs=6e-5)
    assert 2 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2) == pytest.approx(first, abs=1.1e-4)


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("fourier", [0.1, 0.4])
def test_long_cylinder_cools_as_the_series_has_it(biot, fourier):
    section = Section(ROUND, 2 * MM, MM, INSULATED, Face(biot), INSULATED)
    grid, temps = cooled(section, fourier)
    assert middle(grid, temps) == pytest.approx(cylinder_axis(biot, fourier), abs=5e-4)
    assert np.ptp(temps, axis=0).max() < 1e-9  # nothing flows along it


@pytest.mark.parametrize(("side", "top"), [(0.5, 0.5), (1.0, 10.0), (10.0, 0.1)])
@pytest.mark.parametrize("fourier", [0.1, 0.4])
def test_bar_cools_as_the_product_of_two_slabs(side, top, fourier):
    grid, temps = cooled(half(LONG, side, top), fourier)
    product = slab_middle(side, fourier) * slab_middle(top, fourier)
    assert middle(grid, temps) == pytest.approx(product, abs=5e-4)


@pytest.mark.parametrize(("side", "top"), [(1.0, 1.0), (10.0, 0.5)])
def test_short_cylinder_cools_as_the_product_of_cylinder_and_slab(side, top):
    grid, temps = cooled(half(ROUND, side, top), 0.3)
    product = cylinder_axis(side, 0.3) * slab_middle(top, 0.3)
    assert middle(grid, temps) == pytest.approx(product, abs=5e-4)


def test_error_falls_with_the_square_of_the_cells():
    product = slab_middle(5.0, 0.2) * slab_middle(2.0, 0.2)
    wrong = [
        abs(middle(*cooled(half(LONG, 5.0, 2.0), 0.2, cells)) - product) for cells in (6, 12, 24)
    ]
    for coarse, fine in pairwise(wrong):
        assert math.log2(coarse / fine) == pytest.approx(2.0, abs=0.25)


@pytest.mark.parametrize("shape", [LONG, ROUND])
def test_heat_made_is_heat_kept_and_heat_lost(shape):
    section = Section(
        shape, 2 * MM, MM, Face(3.0), Face(1.0), Face(8.0), Face(2.0),
        pattern_width_mm=0.8 * MM, pattern_height_mm=0.4 * MM,
    )  # fmt: skip
    grid = cut(section, UNIT)
    times = np.linspace(0.0, 0.5, 4001)
    told = march_section(grid, Steady(), 1.0, np.zeros(4), 0.0, 0.0, times, rtol=1e-8)
    lost_w = (told.temps_k * grid.gain.sum(axis=0)) @ grid.capacities
    lost = np.trapezoid(lost_w, times)
    kept = told.temps_k[-1] @ grid.capacities
    assert lost > 0.5 * kept
    assert kept + lost == pytest.approx(0.5 * grid.capacities.sum(), rel=1e-5)


def test_volume_of_the_cells_is_that_of_the_section():
    pattern = {"pattern_width_mm": 800.0, "pattern_height_mm": 400.0}
    faces = (HELD, HELD, HELD)
    bar = cut(Section(LONG, 2 * MM, MM, *faces, **pattern), UNIT)
    assert bar.capacities.sum() == pytest.approx(1.0 - 0.4 * 0.4)
    ring = cut(Section(ROUND, 2 * MM, MM, *faces, **pattern), UNIT)
    assert 2 * math.pi * ring.capacities.sum() == pytest.approx(math.pi * (1 - 0.4**2 * 0.4))


@pytest.mark.parametrize(("shape", "height", "critical", "near"), [
    # Held at its surface. Cylinder: 2, exact (Frank-Kamenetskii, 1939). Square rod 1.70 and
    # cylinder as high as wide 2.76: Bowes, Self-Heating, 1984, from memory.
    (ROUND, INSULATED, 2.0, 0.01), (LONG, HELD, 1.70, 0.015), (ROUND, HELD, 2.76, 0.03),
])  # fmt: skip
def test_self_heating_runs_away_at_the_published_parameter(shape, height, critical, near):
    section = Section(shape, 2 * MM, MM, INSULATED, HELD, height)
    grid = cut(section, UNIT)

    def runs_away(delta):
        told = march_section(
            grid, Exponential(), delta, np.zeros(4), 0.0, 0.0, np.array([0.0, 30.0])
        )
        return told.temps_k[-1].max() > 8.0

    assert not runs_away(critical * (1 - near))
    assert runs_away(critical * (1 + near))


@pytest.mark.parametrize(("sides", "shape", "width"), [
    ((), ROUND, math.sqrt(4 * 30_000 / math.pi)),
    ((600.0, 100.0), LONG, 50.0),  # half of its 60,000 mm2 is pattern
    ((100.0, 600.0), LONG, 50.0),
    ((250.0, 200.0), ROUND, math.sqrt(4 * 30_000 / math.pi)),
])  # fmt: skip
def test_section_of_a_lift_keeps_its_area(sides, shape, width):
    found = section_of(60.0, 30_000.0, HELD, HELD, HELD, *sides)
    assert (found.shape, found.depth_mm) == (shape, 60.0)
    assert found.width_mm == pytest.approx(width)


@pytest.mark.parametrize(("wrong", "words"), [
    ({"shape": "square"}, "shape is 'square'"),
    ({"width_mm": 0.0}, "width_mm"),
    ({"pattern_width_mm": 120.0, "pattern_height_mm": 10.0}, "pattern_width_mm"),
    ({"pattern_width_mm": 50.0}, "needs both"),
    ({"pattern_width_mm": 100.0, "pattern_height_mm": 70.0}, "fills the whole section"),
])  # fmt: skip
def test_impossible_section_is_refused_by_name(wrong, words):
    given = {"shape": LONG, "width_mm": 100.0, "depth_mm": 70.0} | wrong
    with pytest.raises(ValueError, match=words):
        Section(**given, base=HELD, side=HELD, top=HELD)
