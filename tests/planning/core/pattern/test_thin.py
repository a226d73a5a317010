"""The thinned pattern for the viewer: few facets, the same shape and sorts of draft."""

import numpy as np
import pytest

from planning.core.pattern.draft import examine_surface
from planning.core.pattern.mesh import lay_down
from planning.core.pattern.picture import SHOWN
from planning.core.pattern.thin import RESTING, thin_bytes
from tests.planning.core.pattern.meshes import dovetail_mesh, sphere_mesh


def read(data):
    (count,) = np.frombuffer(data, "<u4", 1)
    size = np.frombuffer(data, "<f4", 3, 4)
    corners = np.frombuffer(data, "<i2", count * 9, 16).reshape(count, 3, 3)
    sorts = np.frombuffer(data, "u1", count, 16 + count * 18)
    assert len(data) == 16 + count * 19
    return size, corners * (float(size.max()) / 65534), sorts


def thin(mesh, **limits):
    lying = lay_down(mesh, "+z")
    return lying, read(thin_bytes(lying, examine_surface(lying), **limits))


def test_a_small_pattern_keeps_every_facet_and_its_sort():
    lying, (size, corners, sorts) = thin(dovetail_mesh())
    assert len(sorts) == len(lying.facets)
    assert size == pytest.approx(lying.size_mm, rel=1e-6)
    middle = (lying.points_mm.min(axis=0) + lying.points_mm.max(axis=0)) / 2
    assert corners == pytest.approx(
        lying.points_mm[lying.facets] - middle, abs=float(size.max()) / 65000
    )
    assert SHOWN[RESTING] == "resting"
    assert {SHOWN[sort] for sort in sorts} >= {"undercut", "upright", "square", "resting"}


def test_a_fine_ball_becomes_a_coarse_ball():
    lying, (_, corners, sorts) = thin(sphere_mesh(50, 6), most=3000)
    assert len(lying.facets) > 3000 >= len(sorts) > 500
    assert len(corners) == len(sorts)
    radii = np.linalg.norm(corners.reshape(-1, 3), axis=1)
    assert radii.min() > 0.9 * 50
    assert radii.max() < 1.01 * 50
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    volume = np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6
    assert volume == pytest.approx(4 / 3 * np.pi * 50**3, rel=0.05)
