"""Over cells: from their blocks to a matrix, and from movements of their nodes to strains."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints
from pipeline.fem.kernels.tensors import equivalent


@numba.njit(parallel=True, cache=True)
def locate(indptr: Ints, indices: Ints, cells: Ints) -> Ints:
    """Position (m, k, k) of the block of each pair of a cell's nodes; cells are (m, k)."""
    m, k = cells.shape
    slots = np.empty((m, k, k), np.int32)
    for e in numba.prange(m):
        for a in range(k):
            start, stop = indptr[cells[e, a]], indptr[cells[e, a] + 1]
            for b in range(k):
                slots[e, a, b] = start + np.searchsorted(indices[start:stop], cells[e, b])
    return slots


@numba.njit(cache=True)
def scatter(slots: Ints, blocks: Array, total: Array) -> None:
    """Add element blocks (m, k, k, 3, 3) to a matrix's blocks (n, 3, 3), in one order."""
    m, k, _ = slots.shape
    for e in range(m):
        for a in range(k):
            for b in range(k):
                for i in range(3):
                    for j in range(3):
                        total[slots[e, a, b], i, j] += blocks[e, a, b, i, j]


@numba.njit(cache=True)
def cofactors_at(nodes: Array, cell: Ints, slopes: Array, J: Array, cofactor: Array) -> float:
    """Set a cell's Jacobian (3, 3) at a point and its cofactors; return its determinant."""
    J[:] = 0.0
    for a in range(len(cell)):
        for i in range(3):
            for j in range(3):
                J[i, j] += nodes[cell[a], i] * slopes[a, j]
    for i in range(3):
        for j in range(3):
            i1, i2, j1, j2 = (i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3
            cofactor[i, j] = J[i1, j1] * J[i2, j2] - J[i1, j2] * J[i2, j1]
    return J[0, 0] * cofactor[0, 0] + J[0, 1] * cofactor[0, 1] + J[0, 2] * cofactor[0, 2]


@numba.njit(parallel=True, cache=True)
def strain_within(nodes: Array, cells: Ints, slopes: Array, displacement: Array) -> tuple[Array, Array]:
    """Strains (m, q, 6, loads) within cells (m, k) and determinants (m, q) of their Jacobians.

    The points are those of the reference gradients (q, k, 3); displacements are (n, 3, loads). Of a
    cell's movement only what differs from that of its first node counts, so a shift strains nothing.
    """
    m, k = cells.shape
    loads = displacement.shape[2]
    strain, det = np.zeros((m, len(slopes), 6, loads)), np.empty((m, len(slopes)))
    for e in numba.prange(m):
        J, cofactor = np.empty((3, 3)), np.empty((3, 3))
        for p in range(len(slopes)):
            det[e, p] = cofactors_at(nodes, cells[e], slopes[p], J, cofactor)
            at = strain[e, p]
            for a in range(1, k):
                r, s, t = slopes[p, a, 0], slopes[p, a, 1], slopes[p, a, 2]
                x = (cofactor[0, 0] * r + cofactor[0, 1] * s + cofactor[0, 2] * t) / det[e, p]
                y = (cofactor[1, 0] * r + cofactor[1, 1] * s + cofactor[1, 2] * t) / det[e, p]
                z = (cofactor[2, 0] * r + cofactor[2, 1] * s + cofactor[2, 2] * t) / det[e, p]
                node, first = cells[e, a], cells[e, 0]
                for c in range(loads):
                    u = displacement[node, 0, c] - displacement[first, 0, c]
                    v = displacement[node, 1, c] - displacement[first, 1, c]
                    w = displacement[node, 2, c] - displacement[first, 2, c]
                    at[0, c] += x * u
                    at[1, c] += y * v
                    at[2, c] += z * w
                    at[3, c] += y * u + x * v
                    at[4, c] += z * v + y * w
                    at[5, c] += z * u + x * w
    return strain, det


@numba.njit(inline="always")
def _slope(turned: Array, inverse: Array, i: int, j: int, p: int) -> float:
    """Of a movement along i in the direction j, from its slopes on the reference cell."""
    return (
        turned[i, 0, p] * inverse[0, j, p]
        + turned[i, 1, p] * inverse[1, j, p]
        + turned[i, 2, p] * inverse[2, j, p]
    )


@numba.njit(inline="always")
def _times(elasticity: Array, i: int, e: tuple[float, ...]) -> float:
    """One stress of strains."""
    a = elasticity[i]
    return a[0] * e[0] + a[1] * e[1] + a[2] * e[2] + a[3] * e[3] + a[4] * e[4] + a[5] * e[5]


@numba.njit(cache=True, error_model="numpy")
def von_mises_within(
    inverse: Array, slopes: Array, cells: Ints, moved: Array, elasticity: Array
) -> Array:
    """Von Mises stress (m, q) within cells (m, k) of one material (6, 6) whose nodes moved (n, 3).

    The inverse Jacobians (m, 3, 3, q) and reference gradients (k, 3, q) are those of the points. Of a
    cell's movement only what differs from that of its first node counts.
    """
    (m, k), q, C = cells.shape, slopes.shape[2], elasticity
    found, H = np.empty((m, q)), np.empty((3, 3, q))
    for e in range(m):
        H[:] = 0.0
        for a in range(1, k):
            for i in range(3):
                u = moved[cells[e, a], i] - moved[cells[e, 0], i]
                for j in range(3):
                    for p in range(q):
                        H[i, j, p] += u * slopes[a, j, p]
        G = inverse[e]
        for p in range(q):
            xx, yy, zz = _slope(H, G, 0, 0, p), _slope(H, G, 1, 1, p), _slope(H, G, 2, 2, p)
            xy = _slope(H, G, 0, 1, p) + _slope(H, G, 1, 0, p)
            yz = _slope(H, G, 1, 2, p) + _slope(H, G, 2, 1, p)
            zx = _slope(H, G, 2, 0, p) + _slope(H, G, 0, 2, p)
            s = (xx, yy, zz, xy, yz, zx)
            found[e, p] = equivalent(
                _times(C, 0, s), _times(C, 1, s), _times(C, 2, s),
                _times(C, 3, s), _times(C, 4, s), _times(C, 5, s),
            )  # fmt: skip
    return found


@numba.njit(parallel=True, cache=True)
def pulled_within(strain: Array, elasticity: Array, measure: Array, gradient: Array) -> Array:
    """Forces (m, b, 3, loads) on functions of given gradients (m, q, b, 3) in cells.

    From strains (m, q, 6, loads), one stress over strain (6, 6) and the volume (m, q) of each point.
    """
    m, points, _, loads = strain.shape
    count = gradient.shape[2]
    forces = np.zeros((m, count, 3, loads))
    for e in numba.prange(m):
        for p in range(points):
            stress = measure[e, p] * (elasticity @ strain[e, p])
            for b in range(count):
                x, y, z = gradient[e, p, b, 0], gradient[e, p, b, 1], gradient[e, p, b, 2]
                own = forces[e, b]
                for c in range(loads):
                    own[0, c] += x * stress[0, c] + y * stress[3, c] + z * stress[5, c]
                    own[1, c] += x * stress[3, c] + y * stress[1, c] + z * stress[4, c]
                    own[2, c] += x * stress[5, c] + y * stress[4, c] + z * stress[2, c]
    return forces


@numba.njit(cache=True)
def add_signed(numbers: Ints, signs: Array, values: Array, total: Array) -> None:
    """Add values (m, k, i, l) with signs (m, k) to the rows (n, i, l) of a total that they name."""
    m, k, rows, columns = values.shape
    for e in range(m):
        for a in range(k):
            for i in range(rows):
                for c in range(columns):
                    total[numbers[e, a], i, c] += signs[e, a] * values[e, a, i, c]
