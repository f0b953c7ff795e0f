"""Small meshes, and tools for tests that mesh or solve; those of the verification suite among them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import scipy.sparse as sp
from skfem import MeshTet

from geometries.materials import MATERIALS, Material, isotropic
from pipeline.fem import stiffness as elastic
from pipeline.fem.mesh import Mesh, MeshPart, cell_volumes, faces_on_plane
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.meshing.numbering import along_curve
from pipeline.fem.space import EDGES, Array, shape
from pipeline.verification.body import outer_faces as outer_faces
from pipeline.verification.studied import BEND_NM as BEND_NM
from pipeline.verification.studied import LOADS as LOADS
from pipeline.verification.studied import PULL_N as PULL_N
from pipeline.verification.studied import SIDE_N as SIDE_N
from pipeline.verification.studied import TWIST_NM as TWIST_NM
from pipeline.verification.studied import Solved as Solved
from pipeline.verification.studied import Tube as Tube
from pipeline.verification.studied import case_of as case_of
from pipeline.verification.studied import geometry_of as geometry_of
from pipeline.verification.studied import solve_stages as solve_stages
from pipeline.verification.studied import solved as solved
from pipeline.verification.studied import specimen as specimen

MIRRORED = [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]  # nodes of a cell whose corners 1 and 2 change places
INTACT = {"kind": "intact", "name": "intact"}
# As little nail and plate as there may be: in a reamed canal, so that cells are few.
FEW_CELLS = {"length_mm": 200.0, "distal_end_mm": 115.0, "reaming_mm": 3.0, "cannulation_mm": 0.0}
SHORT_PLATE = {"hole_count": 4, "screws": {"holes": [2]}}


@cache
def _whole() -> Solved:
    return solved(case_of(INTACT, "coarse"))


def intact(loads: list[dict[str, Any]] = LOADS) -> Solved:
    """The femur without a gap, solved once: its unit loads are those of any loads on its end."""
    one = replace(_whole(), case=case_of(INTACT, "coarse", loads=loads))
    states = {name: one.found.touching.under(load) for name, load in one.wrenches.items()}
    basis = replace(one.found.basis, shares={name: state.shares for name, state in states.items()})
    errors = dict.fromkeys(states, next(iter(one.found.errors.values())))  # nobody reads these
    found = replace(
        one.found, loads=one.wrenches, states=states, basis=basis, errors=errors,
        near={name: {} for name in states},
    )  # fmt: skip
    return replace(one, found=found)


@cache
def tube() -> Mesh:
    """A short tube of bone with a titanium core: two parts, curved cells, no symmetry in the cells."""
    case = case_of(specimen(17.0, 4.0, (15.0, 9.0, "cortical"), (9.0, 4.0, "titanium")), "coarse")
    return build_mesh(geometry_of(case), "coarse")


@pytest.fixture(scope="session")
def small() -> Mesh:
    """The tube, meshed once for all folders whose conftest names this fixture."""
    return tube()


@pytest.fixture(scope="session")
def small_straight(small: Mesh) -> Mesh:
    """The same with straight edges."""
    return straightened(small)


def stiffness_of(
    mesh: Mesh, constants: Array, pattern: elastic.Pattern | None = None
) -> elastic.Stiffness:
    """Stiffness from Young's modulus and Poisson's ratio of each part (parts, 2)."""
    elasticity = np.stack([isotropic(*pair) for pair in constants])
    return elastic.assemble(mesh, pattern or elastic.Pattern.of(mesh), elasticity)


def sparse(stiffness: elastic.Stiffness) -> sp.csr_array:
    """As a SciPy matrix; unknown 3 n + i is component i of node n."""
    pattern = stiffness.pattern
    size = 3 * pattern.size
    blocks = (stiffness.blocks, pattern.indices, pattern.indptr)
    return sp.csr_array(sp.bsr_array(blocks, shape=(size, size)))


def own_constants(mesh: Mesh) -> Array:
    """Constants (parts, 2) of the materials that the parts name; tissue is empty."""
    empty = Material(0.0, 0.0, "empty")
    found = [MATERIALS.get(part.material, empty) for part in mesh.parts]
    return np.array([[material.modulus, material.poisson] for material in found])


def halved(mesh: Mesh) -> Mesh:
    """The same body with edges half as long: each cell as its own map splits it into eight.

    Patches are those in planes across the shaft.
    """
    pieces = MeshTet.init_refdom().refined(1)
    corners = pieces.p.T[pieces.t.T]  # of each of eight in the reference cell (8, 4, 3)
    places = np.concatenate([corners, corners[:, EDGES].mean(axis=2)], axis=1)
    volumes = np.linalg.det(corners[:, 1:] - corners[:, :1])
    places[volumes < 0] = places[volumes < 0][:, MIRRORED]
    mapped = np.einsum("pqn,mni->mpqi", shape(places.reshape(-1, 3)).reshape(8, 10, 10),
                       mesh.nodes[mesh.cells]).reshape(-1, 3)  # fmt: skip
    _, first, number = np.unique(mapped.round(6), axis=0, return_index=True, return_inverse=True)
    cells, part_of = number.reshape(-1, 10), np.repeat(mesh.part_of, 8)
    order, node_order, vertices = along_curve(mapped[first], cells)
    numbers = np.argsort(node_order)
    nodes, cells = mapped[first][node_order], numbers[cells[order]]
    patches = {
        name: faces_on_plane(nodes, cells, mesh.nodes[faces[0, 0], 2], 1e-5)
        for name, faces in mesh.patches.items()
    }
    return Mesh(nodes, cells, part_of[order], mesh.parts, patches, vertices)


def straightened(mesh: Mesh) -> Mesh:
    """The same cells with straight edges and flat faces; the exact volume is then the mesh's own."""
    nodes = mesh.nodes.copy()
    nodes[mesh.cells[:, 4:]] = nodes[mesh.cells[:, EDGES]].mean(axis=2)
    volumes = np.bincount(mesh.part_of, cell_volumes(nodes[mesh.cells]), len(mesh.parts))
    parts = tuple(
        MeshPart(part.name, part.role, part.material, float(volume))
        for part, volume in zip(mesh.parts, volumes, strict=True)
    )
    return Mesh(nodes, mesh.cells.copy(), mesh.part_of.copy(), parts, mesh.patches, mesh.vertex_count)


def end_held(mesh: Mesh) -> np.ndarray:
    """All components of the distal end's nodes (n, 3)."""
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    return held


def plain_resultant(nodes: Array, forces: Array, about: Array) -> Array:
    """Sum of forces, and of arms times forces (6, loads): statics, by nothing but a cross product."""
    arms = (nodes - about)[:, :, None]
    moments = np.cross(arms, forces, axisa=1, axisb=1, axisc=1)
    return np.concatenate([forces.sum(axis=0), moments.sum(axis=0)])


def worst(found: Array, expected: Array) -> float:
    """Largest difference as a share of the largest expected number."""
    return float(np.abs(found - expected).max() / np.abs(expected).max())
