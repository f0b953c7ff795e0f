"""The mesh of a nail under a plate: the same again, owners, volumes, joints, and patch tests on it."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.stats import qmc

from geometries.solids import Geometry
from pipeline.fem.loads import rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import FACES
from pipeline.fem.stiffness import Pattern
from tests.models import (
    FEW_CELLS,
    SHORT_PLATE,
    case_of,
    geometry_of,
    outer_faces,
    own_constants,
    sparse,
    stiffness_of,
)


@pytest.fixture(scope="module")
def nail_plate() -> tuple[Geometry, Mesh]:
    construct = {"kind": "nail_plate", "name": "both", "nail": FEW_CELLS, "plate": SHORT_PLATE}
    geometry = geometry_of(case_of(construct, "coarse"))
    return geometry, build_mesh(geometry, "coarse")


@pytest.fixture(scope="module")
def pattern(nail_plate: tuple[Geometry, Mesh]) -> Pattern:
    return Pattern.of(nail_plate[1])


def test_same_input_gives_the_same_mesh(nail_plate: tuple[Geometry, Mesh]):
    # Definition: two builds, one digest.
    geometry, mesh = nail_plate
    assert build_mesh(geometry, "coarse").digest == mesh.digest


def test_every_cell_lies_in_the_part_that_owns_the_place(nail_plate: tuple[Geometry, Mesh]):
    # Definition: the mesher's booleans against a plain membership test, at the middle of each cell.
    geometry, mesh = nail_plate
    middles = mesh.nodes[mesh.cells[:, :4]].mean(axis=1)
    assert (geometry.painted(middles) == mesh.part_of).mean() > 0.999


def test_part_volumes_agree_with_sampled_ones(nail_plate: tuple[Geometry, Mesh]):
    # Definition: share of quasi-random points, in a box round each part, that the part owns. The
    # volumes are those of the mesher's solids, before any cell. Sampling error is under 1 %.
    geometry, mesh = nail_plate
    for number, part in enumerate(mesh.parts):
        own = mesh.nodes[np.unique(mesh.cells[mesh.part_of == number])]
        margin = 0.05 * np.ptp(own, axis=0)
        low, high = own.min(axis=0) - margin, own.max(axis=0) + margin
        points = qmc.scale(qmc.Sobol(3, seed=np.random.default_rng(7)).random_base2(16), low, high)
        sampled = (geometry.painted(points) == number).mean() * np.prod(high - low)
        assert sampled == pytest.approx(part.exact_volume, rel=0.01), part.name


def test_cells_hang_together_and_only_so(nail_plate: tuple[Geometry, Mesh]):
    # Definition: all cells are joined face to face; without the gap, bone ends meet only by implants.
    _, mesh = nail_plate
    roles = np.array([part.role for part in mesh.parts])[mesh.part_of]
    assert count_bodies(mesh.cells) == 1
    assert count_bodies(mesh.cells[roles != "gap"]) == 1
    assert count_bodies(mesh.cells[np.isin(roles, ("cortex", "cancellous"))]) == 2
    assert count_bodies(mesh.cells[np.isin(roles, ("nail", "plate"))]) == 2


def count_bodies(cells: np.ndarray) -> int:
    """Bodies that are joined face to face."""
    keys = np.sort(cells[:, FACES].reshape(-1, 3), axis=1)
    _, face = np.unique(keys, axis=0, return_inverse=True)
    cell = np.repeat(np.arange(len(cells)), 4)
    joined = sp.coo_array((np.ones(len(cell)), (cell, face.ravel())))
    return connected_components(sp.csr_array(joined @ joined.T), directed=False)[0]


def test_construct_of_one_modulus_carries_uniform_strain(
    nail_plate: tuple[Geometry, Mesh], pattern: Pattern
):
    # MacNeal & Harder 1985, patch test, as quoted. With one material in all parts, uniform strain
    # must need no force at any inner node: interfaces, bolts in their holes and relaxed cells included.
    _, mesh = nail_plate
    K = sparse(stiffness_of(mesh, np.tile([17_000.0, 0.30], (len(mesh.parts), 1)), pattern))
    strain = np.array([[2.0, 1.0, 1.0], [1.0, 2.0, 1.0], [1.0, 1.0, 2.0]]) * 5e-4
    forces = (K @ (mesh.nodes @ strain).ravel()).reshape(-1, 3)
    inside = np.ones(len(mesh.nodes), dtype=bool)
    inside[np.unique(outer_faces(mesh.cells))] = False
    assert inside.sum() > 10_000
    assert np.abs(forces[inside]).max() < 1e-10 * np.abs(forces).max()


def test_rigid_motion_of_a_construct_costs_no_force(
    nail_plate: tuple[Geometry, Mesh], pattern: Pattern
):
    # Definition; all materials, curved and straight cells.
    _, mesh = nail_plate
    K = sparse(stiffness_of(mesh, own_constants(mesh), pattern))
    modes = rigid_modes(mesh.nodes, np.array([0.0, 0.0, 200.0])).reshape(-1, 6)
    forces = np.linalg.norm(K @ modes, axis=0)
    assert (forces < 1e-12 * np.abs(K).max() * np.linalg.norm(modes, axis=0)).all()
