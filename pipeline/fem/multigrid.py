"""Conjugate gradients with a two-level preconditioner, up to eight loads in one pass.

Level one is the quadratic space, smoothed by Chebyshev polynomials in the block-Jacobi scaled
matrix; level two is the linear space on the same cells, solved exactly. The preconditioner runs in
single precision, the iteration around it in double.

References
----------
Adams, Brezina, Hu & Tuminaro 2003, J Comput Phys 188:593, for the smoother; pairing polynomial
orders on one mesh is p-multigrid.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import SuperLU, splu

from pipeline.errors import SolveError
from pipeline.fem.kernels import (
    LANES,
    advance,
    dots,
    multiply,
    scale_blocks,
    smooth,
    turn,
)
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import EDGES, Array
from pipeline.fem.stiffness import Pattern, Stiffness

SMOOTHING_STEPS = 3
SMOOTHING_RANGE = 8.0
SAFETY = 1.1
POWER_STEPS = 40
MOST_ITERATIONS = 200
ROUND_OFF = 16 * np.finfo(float).eps


@dataclass(frozen=True)
class BlockMatrix:
    """Square matrix of 3 by 3 blocks: a pattern and its values (blocks, 9)."""

    pattern: Pattern
    values: Array

    @classmethod
    def held(cls, pattern: Pattern, values: Array, free: Array) -> BlockMatrix:
        """The matrix with held unknowns (free == 0) cut off and ones on their diagonal."""
        rows, columns = free[pattern.rows], free[pattern.indices]
        masked = values * rows[:, :, None] * columns[:, None, :]
        masked[pattern.diagonal] += np.eye(3) * (1 - free)[:, None, :]
        return cls(pattern, masked.reshape(-1, 9))

    def __matmul__(self, x: Array) -> Array:
        y = np.empty_like(x)
        multiply(self.pattern.indptr, self.pattern.indices, self.values, x, y)
        return y

    @cached_property
    def inverse_diagonal(self) -> Array:
        """Inverse diagonal blocks (n, 9)."""
        blocks = self.values[self.pattern.diagonal].astype(float).reshape(-1, 3, 3)
        return np.linalg.inv(blocks).reshape(-1, 9).astype(self.values.dtype)

    def single(self) -> BlockMatrix:
        """The same in single precision."""
        return BlockMatrix(self.pattern, self.values.astype(np.float32))

    def sparse(self) -> sp.csc_array:
        """As a compressed sparse column matrix."""
        pattern, size = self.pattern, 3 * self.pattern.size
        blocks = (self.values.reshape(-1, 3, 3), pattern.indices, pattern.indptr)
        return sp.csc_array(sp.bsr_array(blocks, shape=(size, size)))


@dataclass(frozen=True)
class Cycle:
    """One multigrid cycle: smooth, correct on the corners, smooth.

    Parameters
    ----------
    double, single : BlockMatrix
        Quadratic level in both precisions.
    largest : float
        Largest eigenvalue of the block-Jacobi scaled matrix.
    transfer : sparse array
        Weights (n, corners) of the corners in each node.
    corners : SuperLU
        Factors of the linear level.
    free : Array
        1 where a displacement component is free, 0 where it is held (n, 3).
    loads : int
        How many lanes are in use.
    """

    double: BlockMatrix
    single: BlockMatrix
    largest: float
    transfer: sp.csr_array
    corners: SuperLU
    free: Array
    loads: int

    def __call__(self, residual: Array) -> Array:
        """Approximate solution for a residual, both (n, 3, LANES).

        Smoothing starts from zero on either side of the correction, so single precision only ever
        sees small local displacements; the correction holds whole-body bending, whose product with
        the matrix would drown in single-precision round-off.
        """
        b = residual.astype(np.float32)
        before = self._smooth(b)
        correction = self._correct(b - self.single @ before)
        after = self._smooth((residual - self.double @ (before + correction)).astype(np.float32))
        correction += before
        correction += after
        return correction

    def _correct(self, residual: Array) -> Array:
        """Exact solution in the linear space (double precision)."""
        count, corners = self.transfer.shape
        free = self.free[:, :, None]
        coarse = self.transfer.T @ (residual * free).reshape(count, -1)
        coarse = coarse.reshape(corners, 3, LANES) * free[:corners]
        solved = np.zeros((3 * corners, LANES))
        solved[:, : self.loads] = self.corners.solve(
            coarse.reshape(-1, LANES)[:, : self.loads].astype(float)
        )
        fine = self.transfer @ solved.reshape(corners, -1)
        return fine.reshape(count, 3, LANES) * free

    def _smooth(self, b: Array) -> Array:
        """Chebyshev steps from zero on the interval from largest / 8 to 1.1 largest."""
        high, low = SAFETY * self.largest, self.largest / SMOOTHING_RANGE
        centre, half = (high + low) / 2, (high - low) / 2
        pattern, inverse = self.single.pattern, self.single.inverse_diagonal
        matrix = (pattern.indptr, pattern.indices, self.single.values, inverse)
        number = np.float32
        step = np.empty_like(b)
        scale_blocks(inverse, b, number(1 / centre), step)
        x, fresh = step.copy(), np.empty_like(b)
        rho = half / centre
        for _ in range(SMOOTHING_STEPS - 1):
            following = 1 / (2 * centre / half - rho)
            factors = (number(following * rho), number(2 * following / half))
            smooth(matrix, b, x, step, factors, fresh)
            x, fresh, rho = fresh, x, following
        return x


def prepare(
    mesh: Mesh, stiffness: Stiffness, matrix: BlockMatrix, free: Array, loads: int
) -> Cycle:
    """Set up the cycle for a matrix with its held components and a number of loads.

    Raises
    ------
    SolveError
        If the construct is a mechanism.
    """
    corner_free = free[: mesh.vertex_count]
    corner = BlockMatrix.held(stiffness.patterns.corners, stiffness.corners, corner_free)
    try:
        factors = splu(
            corner.sparse(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
    except RuntimeError as error:
        raise SolveError(
            "the construct can move without being strained (a mechanism): a part is held by nothing; "
            "add bolts or screws, or fill the gap"
        ) from error
    single = matrix.single()
    return Cycle(matrix, single, _largest(single), _transfer(mesh), factors, free, loads)


def _transfer(mesh: Mesh) -> sp.csr_array:
    """Interpolation (n, corners): a corner takes its own value, an edge middle the mean of two."""
    count, corners = len(mesh.nodes), mesh.vertex_count
    ends = np.zeros((count - corners, 2), dtype=np.int64)
    ends[mesh.cells[:, 4:] - corners] = mesh.cells[:, EDGES]
    rows = np.concatenate([np.arange(corners), np.repeat(np.arange(corners, count), 2)])
    columns = np.concatenate([np.arange(corners), ends.ravel()])
    weights = np.concatenate([np.ones(corners), np.full(2 * len(ends), 0.5)])
    return sp.csr_array((weights, (rows, columns)), shape=(count, corners))


def _largest(matrix: BlockMatrix) -> float:
    """Largest eigenvalue of the block-Jacobi scaled matrix, by power steps from a fixed start."""
    x = np.random.default_rng(0).standard_normal((matrix.pattern.size, 3, LANES))
    x = x.astype(matrix.values.dtype)
    value = 1.0
    for _ in range(POWER_STEPS):
        y = np.empty_like(x)
        scale_blocks(matrix.inverse_diagonal, matrix @ x, matrix.values.dtype.type(1), y)
        value = float(np.sqrt((dots(y, y) / dots(x, x)).max()))
        x = y / matrix.values.dtype.type(value)
    return value


def conjugate_gradients(
    A: BlockMatrix, cycle: Cycle, b: Array, x: Array, tolerance: float
) -> tuple[Array, int]:
    """Solve A x = b for LANES right-hand sides at once.

    Parameters
    ----------
    A, cycle :
        Matrix in double precision and preconditioner.
    b, x : Array
        Right-hand sides and first guess (n, 3, LANES).
    tolerance : float
        Residual allowed, as a share of each right-hand side. Where round-off in A x alone is larger
        than that, round-off is the limit.

    Returns
    -------
    Array
        Solutions (n, 3, LANES).
    int
        Iterations.

    Raises
    ------
    SolveError
        If it has not converged after 200 iterations.
    """
    total, size = 0, np.sqrt(dots(b, b))
    while total < MOST_ITERATIONS:
        # The recurrence drifts from the true residual by round-off: start again from the true one.
        r = b - A @ x
        goal = np.maximum(tolerance * size, round_off(A, x))
        if (np.sqrt(dots(r, r)) <= goal).all():
            return x, total
        x, steps = _descend(A, cycle, x, r, 0.5 * goal)
        total += steps
    worst = float((np.sqrt(dots(r, r)) / np.where(size > 0, size, 1)).max())
    raise SolveError(
        f"solver: residual {worst:.1e} after {total} iterations; allowed {tolerance:.0e}: a part may "
        "be held by too little; check bolts and screws, or refine mesh.level"
    )


def round_off(A: BlockMatrix, x: Array) -> Array:
    """Size (LANES,) that rounding alone can give to a residual b - A x."""
    diagonal = np.abs(A.values[A.pattern.diagonal].reshape(-1, 3, 3)) @ np.abs(x)
    return ROUND_OFF * np.sqrt(dots(diagonal, diagonal))


def _descend(A: BlockMatrix, cycle: Cycle, x: Array, r: Array, goal: Array) -> tuple[Array, int]:
    """Iterate from a guess and its residual until the recurrence's residual reaches the goal."""
    x = x.copy()
    z = cycle(r)
    p = z.copy()
    rz = dots(r, z)
    for step in range(1, MOST_ITERATIONS + 1):
        q = A @ p
        curvature = dots(p, q)
        alpha = np.divide(rz, curvature, out=np.zeros(LANES), where=curvature > 0)
        advance(x, r, p, q, alpha)
        if (np.sqrt(dots(r, r)) <= goal).all():
            break
        z = cycle(r)
        fresh = dots(r, z)
        turn(p, z, np.divide(fresh, rz, out=np.zeros(LANES), where=rz > 0))
        rz = fresh
    return x, step
