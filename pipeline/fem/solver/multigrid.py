"""The preconditioner: one smoothing on the quadratic level, one exact solve on the linear level.

Level one is the quadratic space, smoothed by a Chebyshev polynomial in the matrix scaled by its
diagonal blocks, in single precision; level two is the linear space on the same cells. With an exact
second level the correction may follow the smoothing alone, without a second smoothing after it: the
residual stays orthogonal to the linear space once it is, so a cycle costs half of a symmetric one.

References
----------
Adams, Brezina, Hu & Tuminaro 2003, J Comput Phys 188:593, for the smoother; Tang, Nabben, Vuik &
Erlangga 2009, J Sci Comput 39:340, for the one-sided cycle (their A-DEF2).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import eigvalsh_tridiagonal

from pipeline.fem.kernels import passes
from pipeline.fem.kernels.arrays import Rows
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.kernels.passes import SHARES
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.factors import factor
from pipeline.fem.solver.transfer import Corners
from pipeline.fem.space import Array

SMOOTHING_STEPS = 6
SMOOTHING_RANGE = 40.0
SAFETY = 1.1
LANCZOS_STEPS = 24


class Cycle:
    """Approximate inverse of a matrix, for block vectors (n, 3, LANES).

    Parameters
    ----------
    matrix : BlockMatrix
        Quadratic level, double precision.
    corners : Corners
        Linear level.
    free : Array
        1 where a displacement component is free, 0 where it is held (n, 3).

    Raises
    ------
    SolveError
        If the construct is a mechanism.
    """

    def __init__(self, matrix: BlockMatrix, corners: Corners, free: Array) -> None:
        self._corners = corners.moving(free)
        self._factors = factor(self._corners.matrix(matrix), corners.plan)
        single, moves = np.float32, free[:, :, None] * free[:, None, :]
        own = matrix.diagonal * moves + np.eye(3) * (1 - free)[:, None, :]
        inverse = (np.linalg.inv(own) * moves).reshape(-1, 9)
        values = np.empty(matrix.values.shape, single)
        passes.scaled(matrix.compressed, inverse, values)
        self._scaled: Rows = (*matrix.compressed[:2], values)
        self._diagonal, self._inverse = own.reshape(-1, 9).astype(single), inverse.astype(single)
        self._steps = chebyshev(largest_eigenvalue(matrix, self._inverse, free))
        self._b, self._one, self._other = (np.zeros((*free.shape, LANES), single) for _ in range(3))
        self._coarse = np.zeros((len(corners.down[0]) - 1, 3, LANES))
        self._sums = np.zeros((SHARES, LANES))

    def advance(self, along: Array, p: Array, q: Array, x: Array, r: Array) -> Array:
        """X += along p and r -= along q; r · r of each load. What follows smooths that residual."""
        passes.advance(along, (p, q), (x, r), self._inverse, self._b, self._sums)
        return self._sums.sum(axis=0)

    def __call__(self, q: Array, z: Array) -> Array:
        """Write an approximate solution for the last residual into z; q · z of each load."""
        b, x, before = self._b, self._b, self._one
        for factors in self._steps:
            passes.smooth(self._scaled, b, x, before, factors)
            x, before = before, x if x is not b else self._other
        passes.remainder(self._scaled, self._diagonal, b, x, before)
        self._add_corners(before, x, q, z)
        return self._sums.sum(axis=0)

    def corners_only(self, r: Array) -> Array:
        """The linear level's exact answer to a residual."""
        nothing, z = np.zeros_like(self._b), np.empty(self._b.shape)
        self._add_corners(r.astype(np.float32), nothing, nothing, z)
        return z

    def _add_corners(self, left: Array, base: Array, q: Array, z: Array) -> None:
        """Write base plus the linear level's answer to what is left into z, and sum q · z.

        In double precision, since a construct that bends answers to the resultants of what is left, of
        which single precision would leave noise.
        """
        passes.multiply(self._corners.down, left, self._coarse)
        found = self._factors.solve(self._coarse)
        passes.prolong(self._corners.up, found, base, q, z, self._sums)


def chebyshev(largest: float) -> list[passes.Factors]:
    """Factors of x, the one before it, b and A x in each step after the first, x = b / centre.

    The polynomial is least on the interval from largest / SMOOTHING_RANGE to 1.1 largest. The first
    two steps take b where they need the first x, so that it need not be stored.
    """
    high, low = SAFETY * largest, largest / SMOOTHING_RANGE
    centre, half = (high + low) / 2, (high - low) / 2
    rho: float = half / centre
    steps: list[passes.Factors] = []
    for step in range(1, SMOOTHING_STEPS):
        following = 1 / (2 * centre / half - rho)
        a, c = 1 + following * rho, 2 * following / half
        factors = [a, 1 - a, c, -c]
        if step == 1:
            factors = [a / centre, 0, c, -c / centre]
        elif step == 2:
            factors = [a, 0, c + (1 - a) / centre, -c]
        f0, f1, f2, f3 = (np.float32(one) for one in factors)
        steps.append((f0, f1, f2, f3))
        rho = following
    return steps


def largest_eigenvalue(matrix: BlockMatrix, inverse: Array, free: Array) -> float:
    """Largest eigenvalue of D A, with D (n, 9) in blocks, from Lanczos steps with fixed starts.

    The steps are those of conjugate gradients, whose coefficients are the entries of the tridiagonal
    matrix (Golub & Van Loan, Matrix Computations, 10.2; the entries read in SfePy's cg_eigen).
    """
    r = (np.random.default_rng(0).random((*free.shape, LANES)) - 0.5) * free[:, :, None]
    x, q = np.zeros_like(r), np.zeros_like(r)
    z, p = (np.zeros(r.shape, np.float32) for _ in range(2))
    sums = np.zeros((2, SHARES, LANES))
    along = np.zeros(LANES)
    alphas: list[Array] = []
    sizes: list[Array] = []
    for _ in range(LANCZOS_STEPS):
        passes.advance(along, (p, q), (x, r), inverse, z, sums[0])
        passes.dot(r, z, sums[0])
        sizes.append(sums[0].sum(axis=0))
        passes.turn(z, sizes[-1] / sizes[-2] if alphas else along, p)
        passes.strain_along(matrix.compressed, free, p, r, q, sums)
        along = sizes[-1] / sums[0].sum(axis=0)
        alphas.append(along)
    a, b = np.array(alphas), np.array(sizes)[1:] / np.array(sizes)[:-1]
    main = 1 / a + np.vstack([np.zeros(LANES), b / a[:-1]])
    beside = np.sqrt(b) / a[:-1]
    return max(float(eigvalsh_tridiagonal(main[:, lane], beside[:, lane])[-1]) for lane in range(LANES))
