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
    add,
    advance,
    dots,
    interpolate,
    multiply,
    scale_blocks,
    smooth,
    subtract_product,
    turn,
)
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import EDGES, Array, Ints
from pipeline.fem.stiffness import Pattern, Stiffness

SMOOTHING_STEPS = 3
SMOOTHING_RANGE = 8.0
SAFETY = 1.1
POWER_STEPS = 40
MOST_ITERATIONS = 200
ROUND_OFF = 64 * np.finfo(float).eps


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

    @property
    def compressed(self) -> tuple[Ints, Ints, Array]:
        """indptr, indices and values, as the compiled loops take them."""
        return self.pattern.indptr, self.pattern.indices, self.values

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


class Cycle:
    """One multigrid cycle: smooth, correct on the corners, smooth.

    Smoothing starts from zero on either side of the correction, so single precision only ever sees
    small local displacements; the correction holds whole-body bending, whose product with the matrix
    would drown in single-precision round-off.

    Parameters
    ----------
    matrix : BlockMatrix
        Quadratic level, double precision.
    transfer : sparse array
        Weights (n, corners) of the corners in each node.
    factors : SuperLU
        Factors of the linear level.
    free : Array
        1 where a displacement component is free, 0 where it is held (n, 3).
    loads : int
        How many lanes are in use.
    """

    def __init__(
        self, matrix: BlockMatrix, transfer: sp.csr_array, factors: SuperLU, free: Array, loads: int
    ) -> None:
        self.double, self.single = matrix, matrix.single()
        self.largest = largest_eigenvalue(self.single)
        back = sp.csr_array(transfer.T)
        self._down = (back.indptr, back.indices, back.data)
        self._up = (transfer.indptr, transfer.indices, transfer.data)
        self._factors, self._loads = factors, loads
        count, corners = transfer.shape
        self._free, self._corner_free = free, free[:corners]
        self._b, self._step, self._x, self._fresh = (
            np.zeros((count, 3, LANES), np.float32) for _ in range(4)
        )
        self._coarse, self._nothing = (np.zeros((corners, 3, LANES)) for _ in range(2))

    def __call__(self, residual: Array, out: Array) -> None:
        """Write an approximate solution for a residual into out, both (n, 3, LANES)."""
        np.copyto(self._b, residual, casting="same_kind")
        before = self._smooth(self._b)
        subtract_product(self.single.compressed, self._b, before, self._step)
        interpolate(self._down, self._step, self._corner_free, self._nothing, self._coarse)
        flat = self._coarse.reshape(-1, LANES)
        flat[:, : self._loads] = self._factors.solve(flat[:, : self._loads])
        interpolate(self._up, self._coarse, self._free, before, out)
        subtract_product(self.double.compressed, residual, out, self._b)
        add(out, self._smooth(self._b))

    def _smooth(self, b: Array) -> Array:
        """Chebyshev steps from zero on the interval from largest / 8 to 1.1 largest."""
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


def prepare(mesh: Mesh, stiffness: Stiffness, matrix: BlockMatrix, free: Array, loads: int) -> Cycle:
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
    return Cycle(matrix, _transfer(mesh), factors, free, loads)


def _transfer(mesh: Mesh) -> sp.csr_array:
    """Interpolation (n, corners): a corner takes its own value, an edge middle the mean of two."""
    count, corners = len(mesh.nodes), mesh.vertex_count
    ends = np.zeros((count - corners, 2), dtype=np.int64)
    ends[mesh.cells[:, 4:] - corners] = mesh.cells[:, EDGES]
    rows = np.concatenate([np.arange(corners), np.repeat(np.arange(corners, count), 2)])
    columns = np.concatenate([np.arange(corners), ends.ravel()])
    weights = np.concatenate([np.ones(corners), np.full(2 * len(ends), 0.5)])
    return sp.csr_array((weights, (rows, columns)), shape=(count, corners))


def largest_eigenvalue(matrix: BlockMatrix) -> float:
    """Largest eigenvalue of the block-Jacobi scaled matrix, by power steps from a fixed start."""
    x = np.random.default_rng(0).standard_normal((matrix.pattern.size, 3, LANES))
    x = x.astype(matrix.values.dtype)
    y = np.empty_like(x)
    value = 1.0
    for _ in range(POWER_STEPS):
        scale_blocks(matrix.inverse_diagonal, matrix @ x, x.dtype.type(1), y, y)
        value = float(np.sqrt((dots(y, y) / dots(x, x)).max()))
        np.divide(y, x.dtype.type(value), out=x)
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
        Residual wanted, as a share of each right-hand side. Where round-off in A x alone is larger
        than that, round-off is the limit; the caller checks what was reached.

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
    total, size, before = 0, np.sqrt(dots(b, b)), np.inf
    while total < MOST_ITERATIONS:
        # The recurrence drifts from the true residual by round-off: start again from the true one,
        # until it is met or a fresh start no longer halves it.
        r = b - A @ x
        goal = np.maximum(tolerance * size, round_off(A, x))
        left = float((np.sqrt(dots(r, r)) / np.where(goal > 0, goal, 1)).max())
        if left <= 1 or left > before / 2:
            return x, total
        before = left
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
    x, z, q = x.copy(), np.empty_like(r), np.empty_like(r)
    cycle(r, z)
    p = z.copy()
    rz = dots(r, z)
    step = 0
    while step < MOST_ITERATIONS:
        step += 1
        multiply(*A.compressed, p, q)
        curvature = dots(p, q)
        alpha = np.divide(rz, curvature, out=np.zeros(LANES), where=curvature > 0)
        advance(x, r, p, q, alpha)
        if (np.sqrt(dots(r, r)) <= goal).all():
            break
        cycle(r, z)
        fresh = dots(r, z)
        turn(p, z, np.divide(fresh, rz, out=np.zeros(LANES), where=rz > 0))
        rz = fresh
    return x, step
