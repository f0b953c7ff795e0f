"""Strain and stress at quadrature points, and their statistics by volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.fem.kernels.levels import weighted_levels
from pipeline.fem.kernels.tensors import principal_values, von_mises_of
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Ints, cell_rule, strains

ORDER = 2


@dataclass(frozen=True)
class Field:
    """A tensor field of unit loads at quadrature points.

    Parameters
    ----------
    values : Array
        (points, 6, loads): xx, yy, zz, xy, yz, zx.
    weights : Array
        Volume of each point (points,), mm³.
    """

    values: Array
    weights: Array

    def through(self, states: Array) -> Field:
        """The same where the loads are sums (loads, states) of these."""
        return replace(self, values=self.values @ states)

    def under(self, shares: Array) -> Array:
        """Tensors (points, 6) under shares of the unit loads."""
        return np.asarray(self.values @ shares)

    def mutual(self, elasticity: Array) -> Array:
        """Twice the mutual energies (loads, loads) of strains, from stress over strain (6, 6), N·mm."""
        weighted = self.weights[:, None, None] * self.values
        # One matrix product for all points: a four-factor einsum of NumPy 2.4 goes point by point.
        return np.asarray(np.tensordot(weighted, elasticity @ self.values, axes=([0, 1], [0, 1])))


def strain_field(mesh: Mesh, cells: Ints, displacement: Array, order: int = ORDER) -> Field:
    """Strains of some cells at the points of a quadrature rule, engineering shears."""
    points, rule = cell_rule(order)
    strain, det = strains(mesh.nodes, mesh.cells[cells], displacement, points)
    return Field(strain.reshape(-1, 6, displacement.shape[2]), (det * rule).ravel())


def stress_field(mesh: Mesh, cells: Ints, displacement: Array, elasticity: Array) -> Field:
    """Stresses of some cells of one material, MPa, from its stress over strain (6, 6)."""
    strain = strain_field(mesh, cells, displacement)
    return Field(elasticity @ strain.values, strain.weights)


def principal(strain: Array) -> Array:
    """Principal strains (points, 3), rising, of strains (points, 6) with engineering shears."""
    tensors = np.array(strain.T, dtype=float, order="C")
    tensors[3:] /= 2
    return principal_values(tensors).T


def octahedral(e: Array) -> Array:
    """Octahedral shear strain of principal strains (points, 3)."""
    differences = e - np.roll(e, 1, axis=1)
    return 2 / 3 * np.sqrt((differences**2).sum(axis=1))


def shear_numbers(strain: Array) -> Array:
    """Five numbers (..., 5, k), linear in strains (..., 6, k), as long as the octahedral shear strain.

    They are the deviator in an orthonormal basis times the root of 4/3.
    """
    return np.asarray(_DEVIATOR @ strain)


_DEVIATOR = np.sqrt(4 / 3) * np.array(
    [
        [1, -1, 0, 0, 0, 0],
        np.array([-1, -1, 2, 0, 0, 0]) / np.sqrt(3),
        [0, 0, 0, 1, 0, 0],
        [0, 0, 0, 0, 1, 0],
        [0, 0, 0, 0, 0, 1],
    ]
) / np.sqrt(2)  # fmt: skip


def von_mises(stress: Array) -> Array:
    """Von Mises stress (...) of stresses (..., 6), MPa."""
    flat = np.ascontiguousarray(stress, dtype=float).reshape(-1, 6, 1)
    return von_mises_of(flat).reshape(stress.shape[:-1])


def percentiles(values: Array, weights: Array, shares: Sequence[float]) -> list[float]:
    """Levels that shares of the weight do not exceed.

    Linear between the middles of the sorted weights; below the first and above the last it is their
    value.
    """
    found: list[float] = weighted_levels(values, weights, np.array(shares)).tolist()
    return found


def percentile(values: Array, weights: Array, share: float) -> float:
    """Level that a share of the weight does not exceed, as `percentiles` has it."""
    return percentiles(values, weights, (share,))[0]


def level_exceeded(values: Array, weights: Array, volume: float) -> float:
    """Level that is exceeded in exactly this volume, mm³ (or in all, if there is less)."""
    return percentile(values, weights, max(0.0, 1 - volume / float(weights.sum())))
