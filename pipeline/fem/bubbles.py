"""What a finer space would answer besides: residuals against cubic bubbles on edges and faces.

Each cell's quadratic space lacks cubic functions. One odd cubic an edge and one cubic a face, of three
components each, are tried against the residual of a solution; their own stiffness, uncoupled, turns it
into how far they would move (a hierarchical estimate, Bank & Smith 1993, SIAM J Numer Anal 30:921;
from memory). What that movement works on another load's residual is how far the two err together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pipeline.fem.kernels.cells import add_signed, pulled_within
from pipeline.fem.loads import Spread
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import (
    EDGES,
    FACES,
    Array,
    Ints,
    cell_rule,
    gradients,
    inverses,
    jacobians,
    strains,
)
from pipeline.fem.stiffness import CHUNK, coupling
from pipeline.fem.within import InnerSpread

OWN, MUTUAL = 4, 3  # orders exact in straight cells: of two bubbles, of a bubble and a quadratic
SLOPES = np.array([[-1.0, -1.0, -1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
TRIANGLE = np.array([[0, 1], [1, 2], [0, 2]])  # edges of a face in the order of their middle nodes

AnySpread = Spread | InnerSpread
Pushing = tuple[int, float, AnySpread]
"""The column of a spread's first load, its sign, and the spread."""


def bubble_gradients(points: Array) -> Array:
    """Reference gradients (q, 10, 3) of six edge and four face bubbles at points (q, 3) of a cell."""
    b = np.concatenate([1 - points.sum(axis=1, keepdims=True), points], axis=1)
    found = []
    for i, j in EDGES:  # b_i b_j (b_i - b_j)
        first = 2 * b[:, i] * b[:, j] - b[:, j] ** 2
        second = b[:, i] ** 2 - 2 * b[:, i] * b[:, j]
        found.append(first[:, None] * SLOPES[i] + second[:, None] * SLOPES[j])
    for i, j, k in FACES:
        found.append(
            (b[:, j] * b[:, k])[:, None] * SLOPES[i]
            + (b[:, i] * b[:, k])[:, None] * SLOPES[j]
            + (b[:, i] * b[:, j])[:, None] * SLOPES[k]
        )
    return np.stack(found, axis=1)


def face_bubbles(points: Array) -> Array:
    """Values (q, 4) of three edge bubbles and the face bubble at points (q, 2) of a face."""
    b = np.concatenate([1 - points.sum(axis=1, keepdims=True), points], axis=1)
    edges = [b[:, i] * b[:, j] * (b[:, i] - b[:, j]) for i, j in TRIANGLE]
    return np.stack([*edges, b.prod(axis=1)], axis=1)


def cell_bubbles(points: Array) -> Array:
    """Values (q, 10) of six edge and four face bubbles at points (q, 3) of a cell."""
    b = np.concatenate([1 - points.sum(axis=1, keepdims=True), points], axis=1)
    edges = [b[:, i] * b[:, j] * (b[:, i] - b[:, j]) for i, j in EDGES]
    return np.stack([*edges, *(b[:, face].prod(axis=1) for face in FACES)], axis=1)


@dataclass(frozen=True)
class Bubbles:
    """Bubbles of a mesh: those of edges by their middle nodes, then those of faces.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    keys : Ints
        Rising numbers of all faces, each from its three corners.
    numbers : Ints
        Bubble (m, 10) of each cell's edges and faces.
    signs : Array
        (m, 10): an edge bubble runs from the lower node number to the higher one.
    """

    mesh: Mesh
    keys: Ints
    numbers: Ints
    signs: Array

    @classmethod
    def of(cls, mesh: Mesh) -> Bubbles:
        """Number the bubbles of a mesh."""
        cells = mesh.cells
        every = _keys(cells[:, FACES].reshape(-1, 3), mesh.vertex_count)
        keys, place = np.unique(every, return_inverse=True)
        edges = len(mesh.nodes) - mesh.vertex_count
        numbers = np.hstack([cells[:, 4:] - mesh.vertex_count, edges + place.reshape(-1, 4)])
        ends = cells[:, EDGES]
        signs = np.ones(numbers.shape)
        signs[:, :6] = np.where(ends[..., 0] < ends[..., 1], 1.0, -1.0)
        return cls(mesh, keys, np.ascontiguousarray(numbers), signs)

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.mesh.nodes) - self.mesh.vertex_count + len(self.keys)

    def on_faces(self, faces: Ints) -> tuple[Ints, Array]:
        """Bubbles (k, 4) of faces (k, 6), and their signs."""
        vertices = self.mesh.vertex_count
        own = np.searchsorted(self.keys, _keys(faces[:, :3], vertices))
        numbers = np.hstack([faces[:, 3:] - vertices, (self.count - len(self.keys) + own)[:, None]])
        ends = faces[:, TRIANGLE]
        signs = np.ones(numbers.shape)
        signs[:, :3] = np.where(ends[..., 0] < ends[..., 1], 1.0, -1.0)
        return numbers, signs

    @property
    def places(self) -> Array:
        """Where they are (bubbles, 3), mm: middles of edges, and of faces between their corners."""
        mesh = self.mesh
        found = np.zeros((self.count, 3))
        found[: len(mesh.nodes) - mesh.vertex_count] = mesh.nodes[mesh.vertex_count :]
        found[self.numbers[:, 6:]] = mesh.nodes[mesh.cells[:, FACES]].mean(axis=2)
        return found

    def pushed(self, spreads: Iterable[Pushing], shares: Array) -> Array:
        """Forces (bubbles, 3, k), N, of shares (columns, k) of tractions."""
        total = np.zeros((self.count, 3, shares.shape[1]))
        for first, sign, spread in spreads:
            numbers, forces = self._of_spread(spread)
            own = sign * forces @ shares[first : first + forces.shape[3]]
            add_signed(numbers, np.ones(numbers.shape), own, total)
        return total

    def worked(self, spreads: Iterable[Pushing], moved: Array, count: int) -> Array:
        """Work (count, k), N·mm, of tractions of columns as bubbles (bubbles, 3, k) move."""
        total = np.zeros((count, moved.shape[2]))
        for first, sign, spread in spreads:
            numbers, forces = self._of_spread(spread)
            own = np.einsum("kbil,kbis->ls", forces, moved[numbers], optimize=True)
            total[first : first + len(own)] += sign * own
        return total

    def _of_spread(self, spread: AnySpread) -> tuple[Ints, Array]:
        """Bubbles (k, b) of a spread's faces or cells, and its forces (k, b, 3, loads) on them, N."""
        if isinstance(spread, InnerSpread):
            cells = spread.within.cells
            shares = self.signs[cells] * cell_bubbles(spread.within.points)
            return self.numbers[cells], shares[:, :, None, None] * spread.weighted[:, None]
        numbers, signs = self.on_faces(spread.faces)
        values = face_bubbles(spread.points)
        own = np.einsum("qb,kqil->kbil", values, spread.weighted, optimize=True)
        return numbers, signs[:, :, None, None] * own

    def inner(self, elasticity: Array, displacement: Array) -> Array:
        """Forces (bubbles, 3, loads), N, that cells exert on the bubbles as they are deformed."""
        total = np.zeros((self.count, 3, displacement.shape[2]))
        points, rule = cell_rule(MUTUAL)
        for cells, C in self._batches(elasticity):
            strain, _ = strains(self.mesh.nodes, self.mesh.cells[cells], displacement, points)
            gradient, det = self._gradients(cells, points)
            own = pulled_within(strain, np.ascontiguousarray(C), det * rule, gradient)
            add_signed(self.numbers[cells], self.signs[cells], own, total)
        return total

    def outer(self, elasticity: Array, moved: Array) -> Array:
        """Forces (n, 3, loads), N, on the nodes of cells whose bubbles (bubbles, 3, loads) move."""
        total = np.zeros((*self.mesh.nodes.shape, moved.shape[2]))
        points, rule = cell_rule(MUTUAL)
        for cells, C in self._batches(elasticity):
            gradient, det = self._gradients(cells, points)
            values = self.signs[cells][:, :, None, None] * moved[self.numbers[cells]]
            own = self.mesh.cells[cells]
            slopes, _ = gradients(self.mesh.nodes[own], points)
            forces = pulled_within(
                _strain(gradient, values),
                np.ascontiguousarray(C),
                det * rule,
                np.ascontiguousarray(slopes),
            )
            add_signed(own, np.ones(own.shape), forces, total)
        return total

    def stiffness(self, elasticity: Array) -> Array:
        """Each bubble's own stiffness (bubbles, 3, 3), N/mm."""
        total = np.zeros((self.count, 3, 3))
        points, rule = cell_rule(OWN)
        for cells, C in self._batches(elasticity):
            gradient, det = self._gradients(cells, points)
            left = (gradient * (det * rule)[:, :, None, None]).transpose(0, 2, 3, 1)
            products = left @ gradient.transpose(0, 2, 1, 3)  # (m, 10, k, l)
            own = products.reshape(-1, 9) @ coupling(C)
            add_signed(self.numbers[cells], np.ones((len(cells), 10)), own.reshape(-1, 10, 3, 3), total)
        return total

    def moved(self, stiffness: Array, forces: Array, held: Ints) -> Array:
        """How far each bubble moves by itself (bubbles, 3, loads), mm, under forces of that shape.

        Parameters
        ----------
        stiffness : Array
            Of each (bubbles, 3, 3), N/mm; none in empty tissue.
        forces : Array
            (bubbles, 3, loads), N.
        held : Ints
            Faces (k, 6) that are held; the bubbles there do not move.
        """
        free = np.trace(stiffness, axis1=1, axis2=2) > 0
        free[self.on_faces(held)[0]] = False
        found = np.zeros(forces.shape)
        inverse, _ = inverses(stiffness[free])
        found[free] = inverse @ forces[free]
        return found

    def _batches(self, elasticity: Array) -> Iterable[tuple[Ints, Array]]:
        for part, C in enumerate(elasticity):
            cells = np.flatnonzero(self.mesh.part_of == part) if C.any() else np.zeros(0, int)
            for start in range(0, len(cells), CHUNK):
                yield cells[start : start + CHUNK], C

    def _gradients(self, cells: Ints, points: Array) -> tuple[Array, Array]:
        """Gradients (m, q, 10, 3) of the bubbles of cells, and Jacobian determinants (m, q)."""
        inverse, det = inverses(jacobians(self.mesh.nodes[self.mesh.cells[cells]], points))
        return np.ascontiguousarray(bubble_gradients(points) @ inverse), det


def _strain(gradient: Array, values: Array) -> Array:
    """Strains (m, q, 6, loads) of movements (m, b, 3, loads) with gradients (m, q, b, 3)."""
    m, q, b, _ = gradient.shape
    loads = values.shape[3]
    slopes = gradient.transpose(0, 1, 3, 2).reshape(m, 3 * q, b) @ values.reshape(m, b, 3 * loads)
    by = slopes.reshape(m, q, 3, 3, loads)  # d by what, of what
    return np.stack(
        [
            by[:, :, 0, 0], by[:, :, 1, 1], by[:, :, 2, 2],
            by[:, :, 0, 1] + by[:, :, 1, 0], by[:, :, 1, 2] + by[:, :, 2, 1],
            by[:, :, 2, 0] + by[:, :, 0, 2],
        ],
        axis=2,
    )  # fmt: skip


def _keys(corners: Ints, count: int) -> Ints:
    """One number for each triple of corners (k, 3), in any order of these."""
    low, middle, high = np.sort(corners, axis=1).astype(np.int64).T
    return (low * count + middle) * count + high
