"""The preconditioner: one smoothing on the quadratic level, one exact solve on the linear level.

Level one is the quadratic space, smoothed by a Chebyshev polynomial in the block-Jacobi scaled matrix,
in single precision; level two is the linear space on the same cells. With an exact second level the
correction may follow the smoothing alone, without a second smoothing after it: the residual stays
orthogonal to the linear space once it is, so a cycle costs half of a symmetric one.

References
----------
Adams, Brezina, Hu & Tuminaro 2003, J Comput Phys 188:593, for the smoother; Tang, Nabben, Vuik &
Erlangga 2009, J Sci Comput 39:340, for the one-sided cycle (their A-DEF2).
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.linalg import eigvalsh_tridiagonal

from pipeline.fem.kernels import LANES, dots, interpolate, scale_blocks, smooth, subtract_product
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.factors import Factors, factor
from pipeline.fem.solver.transfer import corner_matrix, corner_weights
from pipeline.fem.space import Array

SMOOTHING_STEPS = 7
SMOOTHING_RANGE = 40.0
SAFETY = 1.1
LANCZOS_STEPS = 16


class Cycle:
    """Approximate inverse of a matrix, for block vectors (n, 3, LANES).

    Parameters
    ----------
    matrix : BlockMatrix
        Quadratic level, double precision.
    transfer : sparse array
        Weights (n, corners) of the corners in each node.
    factors : Factors
        Factors of the linear level.
    free : Array
        1 where a displacement component is free, 0 where it is held (n, 3).
    """

    def __init__(
        self, matrix: BlockMatrix, transfer: sp.csr_array, factors: Factors, free: Array
    ) -> None:
        self.single = matrix.single()
        self.largest = largest_eigenvalue(self.single)
        back = sp.csr_array(transfer.T)
        self._down = (back.indptr, back.indices, back.data)
        self._up = (transfer.indptr, transfer.indices, transfer.data)
        self._factors = factors
        count, corners = transfer.shape
        self._free, self._corner_free = free, free[:corners]
        self._b, self._step, self._x, self._fresh = (
            np.zeros((count, 3, LANES), np.float32) for _ in range(4)
        )
        self._coarse, self._nothing = (np.zeros((corners, 3, LANES)) for _ in range(2))

    def __call__(self, residual: Array, out: Array) -> None:
        """Write an approximate solution for a residual into out."""
        np.copyto(self._b, residual, casting="same_kind")
        local = self._smooth(self._b)
        subtract_product(self.single.compressed, self._b, local, self._step)
        self.correct(self._step, local, out)

    def correct(self, residual: Array, base: Array, out: Array) -> None:
        """Write base plus the linear level's exact answer to a residual into out."""
        interpolate(self._down, residual, self._corner_free, self._nothing, self._coarse)
        interpolate(self._up, self._factors.solve(self._coarse), self._free, base, out)

    def _smooth(self, b: Array) -> Array:
        """Chebyshev steps from zero on the interval from largest / range to 1.1 largest."""
        high, low = SAFETY * self.largest, self.largest / SMOOTHING_RANGE
        centre, half = (high + low) / 2, (high - low) / 2
        inverse, number = self.single.inverse_diagonal, np.float32
        matrix = (*self.single.compressed, inverse)
        x, fresh, step = self._x, self._fresh, self._step
        scale_blocks(inverse, b, number(1 / centre), step, x)
        rho: float = half / centre
        for _ in range(SMOOTHING_STEPS - 1):
            following = 1 / (2 * centre / half - rho)
            factors = (number(following * rho), number(2 * following / half))
            smooth(matrix, b, x, step, factors, fresh)
            x, fresh, rho = fresh, x, following
        return x


def prepare(mesh: Mesh, matrix: BlockMatrix, free: Array) -> Cycle:
    """Set up the cycle for a matrix with its held components.

    Raises
    ------
    SolveError
        If the construct is a mechanism.
    """
    weights = corner_weights(mesh)
    return Cycle(matrix, weights, factor(corner_matrix(matrix, weights, free)), free)


def largest_eigenvalue(matrix: BlockMatrix) -> float:
    """Largest eigenvalue of the block-Jacobi scaled matrix, from Lanczos steps with fixed starts.

    The steps are those of conjugate gradients, whose coefficients are the entries of the tridiagonal
    matrix (Golub & Van Loan, Matrix Computations, 10.2, from memory).
    """
    inverse, one = matrix.inverse_diagonal, matrix.values.dtype.type(1)
    r = np.random.default_rng(0).standard_normal((matrix.pattern.size, 3, LANES), np.float32)
    r = r.astype(matrix.values.dtype)
    z, p = np.empty_like(r), np.empty_like(r)
    scale_blocks(inverse, r, one, z, p)
    rz = dots(r, z)
    alphas, betas = [], []
    for _ in range(LANCZOS_STEPS):
        q = matrix @ p
        alpha = rz / dots(p, q)
        r -= alpha.astype(r.dtype) * q
        scale_blocks(inverse, r, one, z, q)
        fresh = dots(r, z)
        beta = fresh / rz
        p = z + beta.astype(r.dtype) * p
        rz = fresh
        alphas.append(alpha)
        betas.append(beta)
    a, c = np.array(alphas), np.array(betas)[:-1]
    main = 1 / a + np.vstack([np.zeros(LANES), c / a[:-1]])
    beside = np.sqrt(c) / a[:-1]
    return max(float(eigvalsh_tridiagonal(main[:, lane], beside[:, lane])[-1]) for lane in range(LANES))
