"""The mesh: parts of curved quadratic tetrahedra that prove themselves on creation."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from geometries.bow import Bow
from geometries.solids import Role
from pipeline.errors import MeshError
from pipeline.fem.limits import VOLUME_TOLERANCE
from pipeline.fem.space import (
    EDGES,
    FACE_NODES,
    Array,
    Ints,
    cell_rule,
    determinants,
    jacobians,
)

JACOBIAN_FLOOR = 0.2
RELAX_ROUNDS = 12
GUARD_ORDER = 4


@dataclass(frozen=True)
class MeshPart:
    """A part as meshed.

    Parameters
    ----------
    name, role, material :
        As in the geometry.
    exact_volume : float
        Volume of the solids without any mesh, mm³.
    """

    name: str
    role: Role
    material: str
    exact_volume: float


@dataclass(frozen=True)
class Mesh:
    """Quadratic tetrahedra, each in exactly one part; vertices come before edge middles.

    Parameters
    ----------
    nodes : Array
        Positions (n, 3), mm.
    cells : Ints
        Node numbers (m, 10): corners, then middles of the edges 01, 12, 02, 03, 13, 23.
    part_of : Ints
        Part of each cell (m,).
    parts : tuple of MeshPart
        The parts.
    patches : mapping of str to Ints
        Node numbers (k, 6) of the faces of each named patch, normals out of the part.
    vertex_count : int
        Nodes below this number are corners.
    relaxed : int
        Cells that gave up curvature to keep from inverting.
    bow : Bow, optional
        How the straight shaft was bent.
    recipe : str
        In which way it was made, in words.

    Raises
    ------
    MeshError
        If a cell is inverted, a node belongs to no cell, a patch is empty, or a part's volume is
        more than 0.1 % from the exact one.
    """

    nodes: Array
    cells: Ints
    part_of: Ints
    parts: tuple[MeshPart, ...]
    patches: Mapping[str, Ints]
    vertex_count: int
    relaxed: int = 0
    bow: Bow | None = None
    recipe: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "patches", MappingProxyType(dict(self.patches)))
        for array in (self.nodes, self.cells, self.part_of):
            array.setflags(write=False)
        self._check_topology()
        self._check_shapes()

    def _check_topology(self) -> None:
        if self.part_of.shape != (len(self.cells),) or self.part_of.min() < 0:
            raise MeshError("mesh: a cell belongs to no part; report this study file")
        if self.part_of.max() >= len(self.parts):
            raise MeshError("mesh: a cell belongs to an unknown part; report this study file")
        used = np.bincount(self.cells.ravel(), minlength=len(self.nodes))
        if len(used) > len(self.nodes) or (used == 0).any():
            raise MeshError(f"mesh: {(used == 0).sum()} nodes belong to no cell; allowed 0")
        counts = np.bincount(self.part_of, minlength=len(self.parts))
        for part, count in zip(self.parts, counts, strict=True):
            if count == 0:
                raise MeshError(f"mesh: part {part.name!r} has no cells: it is covered by others")
        for name, faces in self.patches.items():
            if len(faces) == 0:
                raise MeshError(f"mesh: patch {name!r} is empty; allowed 1 face or more")

    def _check_shapes(self) -> None:
        lowest = guard_determinants(self.nodes[self.cells]).min(axis=1)
        if lowest.min() <= 0:
            raise MeshError(f"mesh: {(lowest <= 0).sum()} cells are inverted; allowed 0")
        name, error = self.worst_volume
        if error > VOLUME_TOLERANCE:
            raise MeshError(
                f"mesh: the volume of {name!r} is {100 * error:.3f} % from the exact one; allowed "
                f"{100 * VOLUME_TOLERANCE:g} %: use a finer mesh.level",
                self._beyond(VOLUME_TOLERANCE / 2),  # what only just passes may not when others change
            )

    @cached_property
    def part_volumes(self) -> Array:
        """Volume of each part in the mesh, mm³."""
        volumes = cell_volumes(self.nodes[self.cells])
        return np.bincount(self.part_of, volumes, len(self.parts)).astype(float)

    @cached_property
    def volume_errors(self) -> Array:
        """How far the volume of each part is from the exact one, as a share (parts,)."""
        exact = np.array([part.exact_volume for part in self.parts])
        return np.abs(self.part_volumes / exact - 1)

    def _beyond(self, tolerance: float) -> tuple[str, ...]:
        """Parts whose volume is further than that from the exact one."""
        off = self.volume_errors > tolerance
        return tuple(part.name for part, is_off in zip(self.parts, off, strict=True) if is_off)

    @cached_property
    def worst_volume(self) -> tuple[str, float]:
        """Part whose volume is furthest from the exact one, and by what share."""
        worst = int(self.volume_errors.argmax())
        return self.parts[worst].name, float(self.volume_errors[worst])

    @cached_property
    def digest(self) -> str:
        """SHA-256 of nodes, cells and parts: equal for equal meshes."""
        state = hashlib.sha256()
        for array in (self.nodes, self.cells, self.part_of):
            state.update(np.ascontiguousarray(array).tobytes())
        return state.hexdigest()

    @property
    def unknowns(self) -> int:
        """Number of displacement components."""
        return 3 * len(self.nodes)

    @property
    def facts(self) -> dict[str, int | str]:
        """What a record says of a mesh."""
        return {
            "cells": len(self.cells),
            "unknowns": self.unknowns,
            "relaxed_cells": self.relaxed,
            "mesh_recipe": self.recipe,
        }

    def off_axis(self, points: Array) -> Array:
        """Vectors (n, 3) from the shaft axis, across it, to points (n, 3), mm."""
        if self.bow is None:
            return points * [1.0, 1.0, 0.0]
        return points - self.bow.place(self.bow.straighten(points) * [0.0, 0.0, 1.0])

    def cells_of(self, *roles: Role) -> Ints:
        """Numbers of the cells whose part has one of the roles."""
        wanted = [part.role in roles for part in self.parts]
        return np.flatnonzero(np.asarray(wanted)[self.part_of])


def cell_volumes(corners: Array) -> Array:
    """Volumes (m,) of cells with node positions (m, 10, 3), mm³; exact for curved cells."""
    points, weights = cell_rule(3)
    return np.abs(determinants(jacobians(corners, points))) @ weights


def guard_determinants(corners: Array) -> Array:
    """Jacobian determinants (m, q) at the points where the guard looks."""
    corner_points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    points = np.vstack([corner_points, cell_rule(GUARD_ORDER)[0]])
    return determinants(jacobians(corners, points))


def relax(nodes: Array, cells: Ints) -> tuple[Array, int]:
    """Take curvature out of cells that curving has inverted or nearly so.

    A cell is relaxed where its Jacobian falls under a fifth of its straight value at any point of a
    fourth-order rule or at a corner: its edge middles go half the way to the straight edge, and the
    last rounds take them there. Neighbours share the edges, so this repeats until none is left.

    Returns
    -------
    Array
        New node positions (n, 3), mm.
    int
        How many cells were relaxed.
    """
    nodes = nodes.copy()
    relaxed = np.zeros(len(cells), dtype=bool)
    for round_ in range(RELAX_ROUNDS):
        corners = nodes[cells]
        straight = determinants(corners[:, 1:4] - corners[:, :1])
        lowest = guard_determinants(corners).min(axis=1)
        bad = np.flatnonzero(lowest < JACOBIAN_FLOOR * straight)
        if not len(bad):
            break
        relaxed[bad] = True
        kept = 0.5 if round_ < RELAX_ROUNDS // 2 else 0.0
        middles, rows = np.unique(cells[bad, 4:], return_index=True)
        chords = nodes[cells[bad][:, EDGES]].mean(axis=2).reshape(-1, 3)[rows]
        nodes[middles] = chords + kept * (nodes[middles] - chords)
    return nodes, int(relaxed.sum())


def faces_on_plane(nodes: Array, cells: Ints, height: float, tolerance: float) -> Ints:
    """Faces (k, 6) of the given cells in the plane z = height, each once.

    A plane inside a body is seen from the cells below it, so normals point up there; an end face is
    seen from its only side.
    """
    on_plane = np.abs(nodes[:, 2] - height) < tolerance
    touched = cells[on_plane[cells[:, :4]].sum(axis=1) == 3]
    faces = touched[:, FACE_NODES].reshape(-1, 6)
    faces = faces[on_plane[faces].all(axis=1)]
    keys = np.sort(faces[:, :3], axis=1)
    _, first = np.unique(keys, axis=0, return_index=True)
    return faces[np.sort(first)]


def shared_faces(cells: Ints, others: Ints) -> Ints:
    """Faces (k, 6) of the first cells that are faces of the others too, normals out of the first."""
    faces, theirs = (some[:, FACE_NODES].reshape(-1, 6) for some in (cells, others))
    keys = np.sort(faces[:, :3], axis=1)
    both = np.concatenate([keys, np.sort(theirs[:, :3], axis=1)])
    _, number, count = np.unique(both, axis=0, return_inverse=True, return_counts=True)
    twice = count[number[: len(keys)]] == 2
    once = np.bincount(number[: len(keys)], minlength=len(count))[number[: len(keys)]] == 1
    return faces[twice & once]


def free_faces(mesh: Mesh, cells: Ints) -> tuple[Ints, Ints]:
    """Faces that only one of some cells has.

    Returns
    -------
    Ints
        Their nodes (k, 6), normals out of the cell.
    Ints
        The cell (k,) of each.
    """
    faces = mesh.cells[cells][:, FACE_NODES].reshape(-1, 6)
    corners = np.sort(faces[:, :3], axis=1).astype(np.int64)
    # One number for each triple of corners: much faster to sort than rows, and it fits 64 bits up
    # to two million corners, beyond what the solver can hold.
    keys = (corners[:, 0] * mesh.vertex_count + corners[:, 1]) * mesh.vertex_count + corners[:, 2]
    _, first, counts = np.unique(keys, return_index=True, return_counts=True)
    single = first[counts == 1]
    return faces[single], cells[single // 4]
