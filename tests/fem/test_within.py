"""Places inside curved cells: fields read there, forces spread there."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import MeshError
from pipeline.fem.bubbles import Bubbles, bubble_gradients, cell_bubbles, face_bubbles
from pipeline.fem.loads import resultant, rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import FACES, cell_nodes, cell_rule
from pipeline.fem.within import InnerSpread, Within

TILT = np.array([0.31, -0.17])  # of a plane through the tube, mm/mm
ABOUT = np.array([0.7, -1.9, 8.3])


@pytest.fixture(scope="module")
def places() -> np.ndarray:
    """Places (p, 3) on a tilted plane through the tube, close to its surfaces too."""
    radii, turn = np.meshgrid(np.linspace(2.05, 7.45, 7), np.linspace(0.1, 6.2, 41))
    x, y = (radii * np.cos(turn)).ravel(), (radii * np.sin(turn)).ravel()
    return np.stack([x, y, 8.7 + TILT[0] * x + TILT[1] * y], axis=1)


def test_a_place_is_where_its_cell_says(small: Mesh, places: np.ndarray):
    # Definition: the map of the cell takes the found point back to the place.
    found = Within.of(small, places)
    back = np.einsum("pn,pni->pi", found.functions, small.nodes[small.cells[found.cells]])
    np.testing.assert_allclose(back, places, atol=1e-11)
    assert found.points.min() > -0.02
    assert found.points.sum(axis=1).max() < 1.02


def test_a_linear_field_is_read_exactly_and_a_quadratic_one_in_straight_cells(
    small: Mesh, small_straight: Mesh, places: np.ndarray
):
    # Isoparametric cells hold all linear fields, straight ones all quadratic fields.
    random = np.random.default_rng(5)
    slopes, bend = random.normal(size=(3, 3)), random.normal(size=(3, 3, 3))

    def linear(x: np.ndarray) -> np.ndarray:
        return (x @ slopes + ABOUT)[:, :, None]

    def quadratic(x: np.ndarray) -> np.ndarray:
        return np.einsum("pi,pj,ijk->pk", x, x, bend)[:, :, None]

    inside = places[np.hypot(*places[:, :2].T) < 6.5]
    for mesh, field, where in (
        (small, linear, places), (small_straight, quadratic, inside),
    ):  # fmt: skip
        read = Within.of(mesh, where).read(field(mesh.nodes))
        expected = field(where)
        assert np.abs(read - expected).max() < 1e-11 * np.abs(expected).max()


def test_a_place_beside_the_mesh_is_refused(small: Mesh, places: np.ndarray):
    aside = np.vstack([places, [[7.9, 0.0, 8.0]]])
    with pytest.raises(
        MeshError, match=rf"of {len(aside)} places to be read, {len(places)} lie inside"
    ):
        Within.of(small, aside)
    with pytest.raises(MeshError, match="of 1 places to be read, 0 lie inside"):
        Within.of(small, np.array([[40.0, 0.0, 8.0]]))


def test_forces_inside_have_unit_resultants_and_work_the_rigid_motion(small: Mesh, places: np.ndarray):
    # Statics; and of a rigid field the work of the six loads is its translation and rotation.
    weights = 0.3 + np.arange(len(places)) % 5
    spread = InnerSpread.of(small, places, weights, ABOUT)
    forces = spread.forces(len(small.nodes))
    np.testing.assert_allclose(resultant(small.nodes, forces, ABOUT), np.eye(6), atol=1e-11)
    moved = rigid_modes(small.nodes, ABOUT)
    np.testing.assert_allclose(np.einsum("nia,nib->ab", forces, moved), np.eye(6), atol=1e-10)


def test_bubbles_have_their_gradients_and_are_those_of_faces_on_faces():
    # Central differences of the values; on each face of the cell the four bubbles of that face.
    points, step = cell_rule(3)[0], 1e-5
    slopes = np.stack(
        [(cell_bubbles(points + d) - cell_bubbles(points - d)) / (2 * step) for d in step * np.eye(3)],
        axis=2,
    )
    np.testing.assert_allclose(slopes, bubble_gradients(points), atol=1e-9)
    corners, flat = cell_nodes()[:4], np.array([[0.2, 0.3], [0.55, 0.15]])
    for number, face in enumerate(FACES):
        shares = np.column_stack([1 - flat.sum(axis=1), flat])
        values = cell_bubbles(shares @ corners[face])
        known = face_bubbles(flat)
        np.testing.assert_allclose(values[:, 6 + number], known[:, 3], atol=1e-14)
        edges = np.sort(np.abs(known[:, :3]), axis=1)
        np.testing.assert_allclose(np.sort(np.abs(values[:, :6]), axis=1)[:, 3:], edges, atol=1e-14)


def test_bubbles_are_worked_by_forces_inside_as_their_values_say(small: Mesh, places: np.ndarray):
    # Definition: work is force times movement at each place, and the bubbles move each place alone.
    bubbles, spread = Bubbles.of(small), InnerSpread.of(small, places, np.ones(len(places)), ABOUT)
    moved = np.random.default_rng(2).normal(size=(bubbles.count, 3, 2))
    cells, points = spread.within.cells, spread.within.points
    values = bubbles.signs[cells] * cell_bubbles(points)
    there = np.einsum("pb,pbis->pis", values, moved[bubbles.numbers[cells]])
    expected = np.einsum("pil,pis->ls", spread.weighted, there)
    np.testing.assert_allclose(bubbles.worked([(1, -1.0, spread)], moved, 7)[1:], -expected)
    forces = bubbles.pushed([(0, 1.0, spread)], np.eye(6))
    np.testing.assert_allclose(np.einsum("bil,bis->ls", forces, moved), expected)
