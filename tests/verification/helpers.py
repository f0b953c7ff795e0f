"""What the verification cases share: a construct taken through the stages of a study, and tools."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import Any

import numpy as np
import scipy.sparse as sp

from geometries.assembly import assemble
from geometries.materials import MATERIALS, Material, isotropic
from geometries.solids import Geometry
from pipeline.case import Case, cases, measure, solve_unit_loads
from pipeline.config import Stage, parse_study
from pipeline.errors import SolveError
from pipeline.fem import stiffness as elastic
from pipeline.fem.mesh import Mesh, MeshPart, cell_volumes
from pipeline.fem.mesher import build_mesh
from pipeline.fem.solve import Solution
from pipeline.fem.space import EDGES, FACE_NODES, Array, Ints
from pipeline.superposition import combinations

# Uneven numbers, so that swapped components or forgotten factors show.
SIDE_N, PULL_N, TWIST_NM, BEND_NM = 37.0, 430.0, 2.3, 3.1
LOADS: list[dict[str, Any]] = [
    {"kind": "end_force", "name": "side", "medial_n": SIDE_N},
    {"kind": "end_force", "name": "pull", "proximal_n": PULL_N},
    {"kind": "torsion", "name": "twist", "moment_nm": TWIST_NM},
    {"kind": "bending", "name": "frontal", "plane": "frontal", "moment_nm": BEND_NM},
    {"kind": "bending", "name": "sagittal", "plane": "sagittal", "moment_nm": BEND_NM},
]


def case_of(
    construct: dict[str, Any],
    level: str,
    stages: tuple[str, ...] = ("empty",),
    loads: list[dict[str, Any]] = LOADS,
) -> Case:
    """The case of one construct, read as from a study file."""
    study = {
        "schema_version": 1,
        "title": "verification",
        "mesh": {"level": level},
        "stages": [{"name": name} for name in stages],
        "loads": loads,
        "constructs": [construct],
    }
    return cases(parse_study(study, "test"))[-1]


def specimen(length: float, inset: float, *layers: tuple[float, float, str]) -> dict[str, Any]:
    """Bonded tubes, each given by outer and inner diameter and material, as in a study file."""
    keys = ("outer_diameter_mm", "inner_diameter_mm", "material")
    return {
        "kind": "specimen",
        "name": "specimen",
        "length_mm": length,
        "section_inset_mm": inset,
        "layers": [dict(zip(keys, layer, strict=True)) for layer in layers],
    }


def geometry_of(case: Case) -> Geometry:
    return assemble(case.construct, case.femur, case.defect)


@dataclass(frozen=True)
class Solved:
    """A construct, solved for the six unit loads at one tissue stage."""

    case: Case
    geometry: Geometry
    mesh: Mesh
    stage: Stage
    solution: Solution
    forces: Array

    @cached_property
    def wrenches(self) -> dict[str, Array]:
        """Shares of the unit loads in each load of the study."""
        return combinations(self.case.loads, self.case.femur, self.geometry.length)

    def under(self, load: str) -> Array:
        """Nodal displacements (n, 3, 1) under a load of the study, mm."""
        return (self.solution.displacement @ self.wrenches[load])[:, :, None]

    @cached_property
    def measures(self) -> dict[tuple[str, str, str], float]:
        """Values by load, quantity and location; the balance of every row must hold."""
        rows = list(
            measure(self.mesh, self.geometry, self.case, self.stage, self.solution, self.forces)
        )
        assert not [row.balance.fault() for row in rows if row.balance.fault()]
        return {
            (row.load, row.measure.quantity, row.measure.location): row.measure.value for row in rows
        }

    def stiffness(self, quantity: str, load: str) -> float:
        """One stiffness between the two reference sections, in the dictionary's unit."""
        return self.measures[load, quantity, "sections"]


def solve_stages(case: Case, geometry: Geometry, mesh: Mesh) -> list[Solved]:
    """All stages of a case on a mesh that is already there, stiffest first; each must be solved."""
    clock: Any = lambda step: nullcontext()  # noqa: ARG005, E731
    found = []
    for stage, solution, forces in solve_unit_loads(mesh, geometry, case, clock):
        if isinstance(solution, SolveError):
            raise solution
        found.append(Solved(case, geometry, mesh, stage, solution, forces))
    return found


def solved(case: Case) -> Solved:
    """The only, or stiffest, stage of a case, through geometry, mesh and solution."""
    geometry = geometry_of(case)
    return solve_stages(case, geometry, build_mesh(geometry, case.level))[0]


@dataclass(frozen=True)
class Tube:
    """Section values of a round tube (any handbook; plain geometry)."""

    outer: float
    inner: float
    material: str

    @property
    def E(self) -> float:
        return MATERIALS[self.material].modulus

    @property
    def nu(self) -> float:
        return MATERIALS[self.material].poisson

    @property
    def G(self) -> float:
        return self.E / (2 * (1 + self.nu))

    @property
    def A(self) -> float:
        return pi / 4 * (self.outer**2 - self.inner**2)

    @property
    def I(self) -> float:  # noqa: E743
        return pi / 64 * (self.outer**4 - self.inner**4)

    @property
    def J(self) -> float:
        return 2 * self.I


def stiffness_of(
    mesh: Mesh, constants: Array, patterns: elastic.Patterns | None = None
) -> elastic.Stiffness:
    """Stiffness from Young's modulus and Poisson's ratio of each part (parts, 2)."""
    elasticity = np.stack([isotropic(*pair) for pair in constants])
    return elastic.assemble(mesh, patterns or elastic.Patterns.of(mesh), elasticity)


def sparse(stiffness: elastic.Stiffness) -> sp.csr_array:
    """As a SciPy matrix; unknown 3 n + i is component i of node n."""
    pattern = stiffness.patterns.nodes
    size = 3 * pattern.size
    blocks = (stiffness.nodes, pattern.indices, pattern.indptr)
    return sp.csr_array(sp.bsr_array(blocks, shape=(size, size)))


def own_constants(mesh: Mesh) -> Array:
    """Constants (parts, 2) of the materials that the parts name; tissue is empty."""
    empty = Material(0.0, 0.0, "empty")
    found = [MATERIALS.get(part.material, empty) for part in mesh.parts]
    return np.array([[material.modulus, material.poisson] for material in found])


def outer_faces(cells: Ints) -> Ints:
    """Faces (k, 6) that belong to one cell only, normals outwards."""
    faces = cells[:, FACE_NODES].reshape(-1, 6)
    keys = np.sort(faces[:, :3], axis=1)
    _, first, counts = np.unique(keys, axis=0, return_index=True, return_counts=True)
    return faces[first[counts == 1]]


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
