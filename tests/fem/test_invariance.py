"""What must not change, or change by a known factor, when units, loads or frame do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.solve import Solution, solve
from pipeline.fem.space import Array
from tests.models import end_held, own_constants, plain_resultant, stiffness_of, worst

SOLVER = 1e-8  # the solver stops at a residual of 1e-9 of the load
TOP = np.array([0.0, 0.0, 17.0])
OFF_AXIS = np.array([11.0, -7.0, -50.0, 130.0, 90.0, -210.0])
MIRROR_CELL = [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]
MIRROR_FACE = [0, 2, 1, 5, 4, 3]


def solve_held(mesh: Mesh, forces: Array, factor: float = 1.0) -> Solution:
    """Held at the distal end, all moduli times a factor."""
    constants = own_constants(mesh) * [factor, 1.0]
    return solve(mesh, stiffness_of(mesh, constants), forces, end_held(mesh))


def off_axis_forces(mesh: Mesh, load: Array, top: Array) -> Array:
    return unit_loads(mesh, "proximal_end", top) @ load[:, None]


@pytest.fixture(scope="module")
def forces(small: Mesh) -> Array:
    return off_axis_forces(small, OFF_AXIS, TOP)


@pytest.fixture(scope="module")
def reference(small: Mesh, forces: Array) -> Solution:
    return solve_held(small, forces)


def test_more_load_moves_further_in_proportion(small: Mesh, forces: Array, reference: Solution):
    # Linearity; definition. Not a factor of two, which would be exact bit by bit.
    found = solve_held(small, 3.7 * forces).displacement
    assert worst(found, 3.7 * reference.displacement) < SOLVER


def test_loads_together_move_as_their_sum(small: Mesh, reference: Solution):
    # Superposition; definition. One load in two unlike parts, each solved by itself.
    share = OFF_AXIS * [0.3, -1.7, 2.1, 0.0, 0.9, 1.4]
    parts = [solve_held(small, off_axis_forces(small, one, TOP)) for one in (share, OFF_AXIS - share)]
    assert worst(sum(part.displacement for part in parts), reference.displacement) < SOLVER


def test_stiffer_materials_move_less_in_proportion(small: Mesh, forces: Array, reference: Solution):
    # Linearity in the modulus; definition. Pa for MPa, or any other slip of units, would show.
    stiffer = solve_held(small, forces, factor=7.3).displacement
    assert worst(stiffer, reference.displacement / 7.3) < SOLVER


def test_larger_copy_under_the_same_stress_moves_in_proportion(
    small: Mesh, forces: Array, reference: Solution
):
    # Similarity: lengths times s, forces times s², displacements times s; definition.
    s = 2.6
    parts = tuple(replace(part, exact_volume=s**3 * part.exact_volume) for part in small.parts)
    larger = replace(small, nodes=s * small.nodes, parts=parts)
    assert worst(solve_held(larger, s**2 * forces).displacement, s * reference.displacement) < SOLVER


def mirrored(mesh: Mesh) -> Mesh:
    """The mirror image in the frontal plane (y to -y), cells turned so that none is inside out."""
    patches = {name: faces[:, MIRROR_FACE] for name, faces in mesh.patches.items()}
    return replace(
        mesh, nodes=mesh.nodes * [1.0, -1.0, 1.0], cells=mesh.cells[:, MIRROR_CELL], patches=patches
    )


def test_mirror_image_moves_as_the_mirror_image(small: Mesh, reference: Solution):
    # Forces mirror as vectors, moments with the opposite sign; statics.
    image = mirrored(small)
    load = OFF_AXIS * [1, -1, 1, -1, 1, -1]
    found = solve_held(image, off_axis_forces(image, load, TOP)).displacement
    assert worst(found * [[1.0], [-1.0], [1.0]], reference.displacement) < SOLVER


def test_turned_copy_moves_as_the_copy(small: Mesh, reference: Solution, forces: Array):
    # Frame: turning mesh and forces turns the displacements; definition.
    turn, _ = np.linalg.qr(np.random.default_rng(5).standard_normal((3, 3)))
    turn *= np.linalg.det(turn)
    copy = replace(small, nodes=small.nodes @ turn.T)
    found = solve_held(copy, np.einsum("ij,njl->nil", turn, forces)).displacement
    assert worst(found, np.einsum("ij,njl->nil", turn, reference.displacement)) < SOLVER


def test_unit_loads_are_what_they_say(small: Mesh):
    # Definition: force and moment about the middle of the end, each 1.
    applied = plain_resultant(small.nodes, unit_loads(small, "proximal_end", TOP), TOP)
    np.testing.assert_allclose(applied, np.eye(6), atol=1e-12 * 17)


def test_reactions_equal_every_unit_load(small: Mesh):
    # Statics: force and moment of the supports are the load's, turned round.
    found = solve_held(small, unit_loads(small, "proximal_end", TOP))
    reactions = plain_resultant(small.nodes, found.reaction, TOP)
    arms = np.array([1.0, 1.0, 1.0, 17.0, 17.0, 17.0])  # a moment's share is of force times length
    assert (np.abs(reactions + np.eye(6)) / arms[:, None] * arms[None, :] < 1e-7).all()
