"""A meshed body with elastic constants: how a case loads it, holds it, and reads it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import qr

from geometries.materials import isotropic
from pipeline.fem.loads import face_points, rigid_modes, unit_loads
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.solve import Solution, solve
from pipeline.fem.space import (
    FACE_NODES,
    Array,
    Flags,
    Ints,
    cell_rule,
    determinants,
    face_measure,
    face_rule,
    jacobians,
    shape,
    strains,
)
from pipeline.fem.stiffness import Pattern, Stiffness, assemble
from pipeline.measures.motion import Motion, face_motion

ORDER = 4
CORNERS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])


@dataclass(frozen=True)
class Body:
    """A mesh, and Young's modulus, MPa, and Poisson's ratio of each of its parts."""

    mesh: Mesh
    constants: tuple[tuple[float, float], ...]

    @cached_property
    def elasticity(self) -> Array:
        """Stress over strain of each part (parts, 6, 6), MPa; zeros for an empty one."""
        return np.stack([isotropic(*pair) for pair in self.constants])

    @cached_property
    def stiffness(self) -> Stiffness:
        """Its stiffness."""
        return assemble(self.mesh, Pattern.of(self.mesh), self.elasticity)

    @cached_property
    def outside(self) -> Ints:
        """Faces (k, 6) that belong to one cell only, normals outwards."""
        return outer_faces(self.mesh.cells)

    def least_held(self, modes: tuple[int, ...] = (0, 1, 2, 3, 4, 5)) -> Flags:
        """As few components (n, 3) as stop some rigid motions, of corners that lie far apart.

        Motions 0 to 2 are translations along x, y, z, 3 to 5 rotations about them.
        """
        corners = self.mesh.nodes[: self.mesh.vertex_count]
        places = (corners - corners.mean(axis=0)) / np.ptp(corners, axis=0).max()
        rows = rigid_modes(places, np.zeros(3)).reshape(-1, 6)[:, list(modes)]
        _, _, order = qr(rows.T, mode="economic", pivoting=True)
        flags = np.zeros(self.mesh.nodes.size, dtype=bool)
        flags[order[: len(modes)]] = True
        return flags.reshape(-1, 3)

    def between_plates(self) -> Flags:
        """Components (n, 3) held by smooth rigid plates at both ends, and three against the rest."""
        z = self.mesh.nodes[:, 2]
        at_ends = self.held(z=lambda p: (p[:, 2] < z.min() + 1e-9) | (p[:, 2] > z.max() - 1e-9))
        return at_ends | self.least_held((0, 1, 5))

    def pressed(self, by: float, held: Flags) -> float:
        """Force, N, that moves the end at the top down by a distance, mm, with some components held."""
        top = self.mesh.nodes[:, 2] > self.mesh.nodes[:, 2].max() - 1e-9
        moved = np.zeros((*self.mesh.nodes.shape, 1))
        moved[top, 2] = -by
        found = self.solve(np.zeros_like(moved), held, moved)
        return float(-found.reaction[top, 2].sum())

    def faces(self, condition: Callable[[Array], Flags]) -> Ints:
        """Outer faces (k, 6) whose nodes all meet a condition on places (n, 3)."""
        return self.outside[condition(self.mesh.nodes)[self.outside].all(axis=1)]

    def held(self, **conditions: Callable[[Array], Flags]) -> Flags:
        """Components (n, 3) held: x, y or z of all nodes that meet a condition on places (n, 3)."""
        flags = np.zeros(self.mesh.nodes.shape, dtype=bool)
        for axis, condition in conditions.items():
            flags[condition(self.mesh.nodes), "xyz".index(axis)] = True
        return flags

    def solve(self, forces: Array, held: Flags, prescribed: Array | None = None) -> Solution:
        """Solve under nodal forces (n, 3, loads), N."""
        return solve(self.mesh, self.stiffness, forces, held, prescribed=prescribed)

    def traction(self, faces: Ints, of: Callable[[Array, Array], Array]) -> Array:
        """Nodal forces (n, 3, 1) of a traction, MPa, from places (p, 3) and outward normals (p, 3)."""
        points, weights = face_rule(ORDER)
        corners = self.mesh.nodes[faces]
        area, normal = face_measure(corners, points)
        places = np.einsum("qn,kni->kqi", shape(points), corners)
        pull = of(places.reshape(-1, 3), normal.reshape(-1, 3)).reshape(normal.shape)
        shares = np.einsum("qn,kq,q,kqi->kni", shape(points), area, weights, pull)
        return _gathered(self.mesh, faces, shares)

    def pulled(self, faces: Ints, pull: Array) -> Array:
        """Nodal forces (n, 3, 1) of one traction (3,) all over faces, MPa."""
        return self.traction(faces, lambda places, _: np.tile(pull, (len(places), 1)))

    def volume_force(self, of: Callable[[Array], Array]) -> Array:
        """Nodal forces (n, 3, 1) of a force by volume, N/mm³, from places (p, 3)."""
        points, weights = cell_rule(2 * ORDER)
        corners, functions = self.mesh.nodes[self.mesh.cells], shape(points)
        places = np.einsum("qn,mni->mqi", functions, corners)
        pull = of(places.reshape(-1, 3)).reshape(places.shape)
        volume = determinants(jacobians(corners, points)) * weights
        shares = np.einsum("qn,mq,mqi->mni", functions, volume, pull, optimize=True)
        return _gathered(self.mesh, self.mesh.cells, shares)

    def unit_loads(self, patch: str, about: tuple[float, float, float] | None = None) -> Array:
        """Nodal forces (n, 3, 6) of unit forces and moments about a point, by default the middle."""
        places, weights, _ = face_points(self.mesh.nodes, self.mesh.patches[patch])
        middle = weights @ places / weights.sum()
        return unit_loads(self.mesh, patch, middle if about is None else np.asarray(about))

    def motion(self, patch: str, found: Solution) -> Motion:
        """Rigid motion of a patch."""
        return face_motion(self.mesh, patch, found.displacement)

    def twist(self, low: str, high: str) -> float:
        """Rotation about z of one patch against another under a unit torque, both ends free to warp."""
        couple = (self.unit_loads("proximal_end") - self.unit_loads("distal_end"))[:, :, 5:]
        found = self.solve(couple, self.least_held())
        start, end = (self.motion(name, found).rotation[2, 0] for name in (low, high))
        return float(end - start)

    def node_at(self, place: tuple[float, float, float]) -> int:
        """Node nearest to a place."""
        return int(np.linalg.norm(self.mesh.nodes - np.asarray(place), axis=1).argmin())

    def stress_at(self, node: int, displacement: Array) -> Array:
        """Stress (6,), MPa, at a corner: the mean over the cells that meet there."""
        cells, corner = np.nonzero(self.mesh.cells[:, :4] == node)
        found = [
            self._stress(np.array([cell]), CORNERS[place : place + 1], displacement)[0, 0]
            for cell, place in zip(cells, corner, strict=True)
        ]
        return np.mean(found, axis=0)

    def on_wall(
        self, condition: Callable[[Array], Flags], displacement: Array
    ) -> tuple[Array, Array, Array]:
        """Places (p, 3), areas (p,), mm², and stresses (p, 6), MPa, at points of a wall.

        Points lie on faces of cells whose nodes all meet a condition on places (n, 3).
        """
        meets = condition(self.mesh.nodes)
        points, weights = face_rule(ORDER)
        barycentric = np.column_stack([1 - points.sum(axis=1), points])
        found = []
        for face in FACE_NODES:
            cells = np.flatnonzero(meets[self.mesh.cells[:, face]].all(axis=1))
            corners = self.mesh.nodes[self.mesh.cells[cells]]
            inside = barycentric @ CORNERS[face[:3]]
            places = np.einsum("qn,mni->mqi", shape(inside), corners).reshape(-1, 3)
            area = face_measure(corners[:, face], points)[0] * weights
            stress = self._stress(cells, inside, displacement)
            found.append((places, area.ravel(), stress.reshape(-1, 6)))
        places, areas, stresses = (np.concatenate(list(some)) for some in zip(*found, strict=True))
        return places, areas, stresses

    def _stress(self, cells: Ints, points: Array, displacement: Array) -> Array:
        """Stress (m, q, 6) of cells (m,) at reference points (q, 3) under the first load, MPa."""
        strain, _ = strains(self.mesh.nodes, self.mesh.cells[cells], displacement[..., :1], points)
        return np.einsum("mij,mqj->mqi", self.elasticity[self.mesh.part_of[cells]], strain[..., 0])


def outer_faces(cells: Ints) -> Ints:
    """Faces (k, 6) that belong to one cell only, normals outwards."""
    faces = cells[:, FACE_NODES].reshape(-1, 6)
    keys = np.sort(faces[:, :3], axis=1)
    _, first, counts = np.unique(keys, axis=0, return_index=True, return_counts=True)
    return faces[first[counts == 1]]


def _gathered(mesh: Mesh, numbers: Ints, shares: Array) -> Array:
    forces = np.zeros((*mesh.nodes.shape, 1))
    np.add.at(forces[:, :, 0], numbers, shares)
    return forces
