"""Unit forces on the bone's surface: their resultant by a plain sum, and where they go."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import MeshError
from pipeline.fem.loads import SURFACE_MM2, face_points, outer_surface, surface_loads
from pipeline.fem.mesh import Mesh
from tests.models import outer_faces, plain_resultant

# The tube is 15 mm wide and 17 mm long: on its surface, inside the wall, and off to one side.
POINTS = ([-7.5, 0.0, 9.0], [3.0, 5.0, 6.0], [0.7, 7.3, 11.0])


@pytest.mark.parametrize("point", POINTS)
def test_a_surface_load_is_a_unit_force_at_its_point(small: Mesh, point: list[float]):
    # Definition: one force of 1 N each, and no moment about the point.
    found = plain_resultant(small.nodes, surface_loads(small, np.array(point)), np.array(point))
    np.testing.assert_allclose(found, np.vstack([np.eye(3), np.zeros((3, 3))]), atol=1e-11)


@pytest.mark.parametrize("point", POINTS)
def test_a_surface_load_stays_on_the_outside_near_its_point(small: Mesh, point: list[float]):
    forces = surface_loads(small, np.array(point))
    loaded = np.flatnonzero(np.abs(forces).max(axis=(1, 2)) > 0)
    x, y, _ = small.nodes[loaded].T
    np.testing.assert_allclose(np.hypot(x, y), 7.5, atol=0.3)
    # 150 mm² on a round face reach 7 mm from its middle; elements and curvature add to it.
    nearest = np.linalg.norm(small.nodes[outer_faces(small.cells)] - point, axis=2).min()
    assert np.linalg.norm(small.nodes[loaded] - point, axis=1).max() < nearest + 16


def test_the_outer_surface_is_the_whole_mantle_and_nothing_else(small: Mesh):
    # A cylinder's mantle, pi d h; the ends and the bore do not look off the axis.
    faces = outer_surface(small, ("cortex",))
    _, weights, _ = face_points(small.nodes, faces)
    assert weights.sum() == pytest.approx(np.pi * 15.0 * 17.0, rel=2e-3)
    assert weights.sum() > 2 * SURFACE_MM2
    known = {frozenset(face[:3]) for face in outer_faces(small.cells)}
    assert {frozenset(face[:3]) for face in faces} <= known


def test_a_mesh_without_such_a_part_is_refused(small: Mesh):
    with pytest.raises(MeshError, match="no outer face on plate"):
        surface_loads(small, np.array(POINTS[0]), ("plate",))
