"""Cells of one part, in which stress is read again and again."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from pipeline.fem.kernels.cells import von_mises_within
from pipeline.fem.kernels.tensors import von_mises_of
from pipeline.fem.space import (
    EDGES,
    Array,
    Flags,
    Ints,
    cell_nodes,
    cell_rule,
    inverses,
    jacobians,
    shape_gradients,
    strains,
)

ORDER = 2


@dataclass(frozen=True)
class Tetrahedra:
    """Cells of ten nodes each.

    Parameters
    ----------
    nodes : Array
        Their nodes (n, 3), mm.
    cells : Ints
        Numbers of each one's nodes (m, 10).
    """

    nodes: Array
    cells: Ints

    def von_mises(self, moved: Array, elasticity: Array) -> Array:
        """Stress (m, 4), MPa, at four points of each cell.

        Parameters
        ----------
        moved : Array
            Movement of the nodes (n, 3), mm.
        elasticity : Array
            Stress over strain (6, 6), MPa.
        """
        inverse, _ = self._inside
        own = np.ascontiguousarray(moved)
        return von_mises_within(inverse, _slopes(), self.cells, own, elasticity)

    def at_nodes(self, some: Flags, moved: Array, elasticity: Array) -> tuple[Array, Array]:
        """Stress (k, 10, 6), MPa, of some cells at their nodes, and determinants (k, 10) there."""
        strain, det = strains(self.nodes, self.cells[some], moved[:, :, None], cell_nodes())
        return strain[..., 0] @ elasticity, det  # which is symmetric

    @property
    def volume(self) -> Array:
        """Of each point (m, 4), mm³."""
        return self._inside[1]

    @cached_property
    def _inside(self) -> tuple[Array, Array]:
        """Inverse Jacobians (m, 3, 3, 4) at the points, and the volume of each (m, 4)."""
        points, weights = cell_rule(ORDER)
        inverse, det = inverses(jacobians(self.nodes[self.cells], points))
        return np.ascontiguousarray(np.moveaxis(inverse, 1, -1)), det * weights


@cache
def _slopes() -> Array:
    """Reference gradients (10, 3, 4) at the points."""
    return np.ascontiguousarray(shape_gradients(cell_rule(ORDER)[0]).transpose(1, 2, 0))


def highest_von_mises(stress: Array) -> Array:
    """What stress does not exceed anywhere in cells (m,), from what it is at their nodes (m, 10, 6).

    It is quadratic between the nodes: anywhere in a cell it is a mean of its coefficients on
    Bernstein's polynomials, none of which is negative, so no convex function of it exceeds all of them.
    """
    return np.asarray(von_mises_of(np.tensordot(stress, _coefficients(), axes=(1, 1))).max(axis=1))


@cache
def _coefficients() -> Array:
    """Coefficients on Bernstein's polynomials (10, 10) from the values at a cell's nodes."""
    found = np.eye(10)
    for middle, ends in enumerate(EDGES, start=4):
        found[middle, middle] = 2.0
        found[middle, ends] = -0.5
    return found
