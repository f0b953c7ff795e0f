"""Places inside a mesh: which cell each lies in, and where in it, so that fields are read anywhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import MeshError
from pipeline.fem.loads import rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Ints, inverses, shape, shape_gradients

STEPS = 12  # of Newton's method; each doubles the digits
BESIDE = 0.02  # of a cell's edge, by which a place may lie outside: curved cells miss round surfaces so


@dataclass(frozen=True)
class Within:
    """Where places lie in cells.

    Parameters
    ----------
    nodes : Ints
        Nodes (p, 10) of the cell of each.
    cells : Ints
        The cells (p,).
    points : Array
        Where on the reference tetrahedron (p, 3).
    """

    nodes: Ints
    cells: Ints
    points: Array

    @classmethod
    def of(cls, mesh: Mesh, places: Array) -> Within:
        """Find places (p, 3), mm.

        Raises
        ------
        MeshError
            If one lies outside the mesh.
        """
        place, cell = _near(mesh, places)
        points = _inverted(mesh.nodes[mesh.cells[cell]], places[place])
        outside = np.maximum(-points.min(axis=1), points.sum(axis=1) - 1)
        order = np.lexsort((cell, outside, place))
        found, first = np.unique(place[order], return_index=True)
        best = order[first]
        if len(found) < len(places) or outside[best].max() > BESIDE:
            raise MeshError(
                f"mesh: of {len(places)} places to be read, {(outside[best] <= BESIDE).sum()} lie "
                "inside; allowed are all: report this study file"
            )
        return cls(mesh.cells[cell[best]], cell[best], points[best])

    @property
    def functions(self) -> Array:
        """Shape functions (p, 10) there."""
        return shape(self.points)

    def read(self, field: Array) -> Array:
        """Values (p, 3, loads) of a nodal field (n, 3, loads)."""
        return np.einsum("pn,pnil->pil", self.functions, field[self.nodes], optimize=True)


def _near(mesh: Mesh, places: Array) -> tuple[Ints, Ints]:
    """Pairs of a place and a cell whose box holds it."""
    corners = mesh.nodes[mesh.cells]
    low, high = corners.min(axis=1), corners.max(axis=1)
    margin = BESIDE * (high - low).max(axis=1)[:, None]
    low, high = low - margin, high + margin
    beside = (low <= places.max(axis=0)).all(axis=1) & (high >= places.min(axis=0)).all(axis=1)
    cells = np.flatnonzero(beside)
    held = np.ones((len(places), len(cells)), dtype=bool)
    for axis in range(3):
        along = places[:, axis, None]
        held &= (low[cells, axis] <= along) & (along <= high[cells, axis])
    place, cell = np.nonzero(held)
    return place, cells[cell]


def _inverted(corners: Array, places: Array) -> Array:
    """Reference points (p, 3) that the maps of cells (p, 10, 3) take to places (p, 3), mm."""
    points = np.full(places.shape, 0.25)
    for _ in range(STEPS):
        missed = places - np.einsum("pn,pni->pi", shape(points), corners)
        inverse, _ = inverses(np.einsum("pni,pnj->pij", corners, shape_gradients(points)))
        points = np.clip(points + np.einsum("pij,pj->pi", inverse, missed), -1.0, 2.0)
    return points


@dataclass(frozen=True)
class InnerSpread:
    """Forces of rigid-mode shape over places inside cells.

    Parameters
    ----------
    within : Within
        The places.
    weighted : Array
        Force at each (p, 3, loads), N.
    """

    within: Within
    weighted: Array

    @classmethod
    def of(cls, mesh: Mesh, places: Array, weights: Array, about: Array) -> InnerSpread:
        """Forces at places whose resultants about a point are the six unit loads.

        Their work is the rigid motion of the places by least squares.

        Parameters
        ----------
        mesh : Mesh
            The mesh.
        places : Array
            (p, 3), mm.
        weights : Array
            Area that each stands for (p,), mm².
        about : Array
            Point (3,), mm.
        """
        modes = rigid_modes(places, about)
        G = np.einsum("p,pia,pib->ab", weights, modes, modes)
        return cls(Within.of(mesh, places), weights[:, None, None] * (modes @ np.linalg.inv(G)))

    def forces(self, count: int) -> Array:
        """Nodal forces (n, 3, loads), N, of so many nodes."""
        shares = self.within.functions[:, :, None, None] * self.weighted[:, None]
        forces = np.zeros((count, *self.weighted.shape[1:]))
        np.add.at(forces, self.within.nodes, shares)
        return forces
