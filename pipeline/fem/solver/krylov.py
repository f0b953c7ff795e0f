"""Block conjugate gradients: all loads of a mesh in one Krylov space.

Six loads search together, so the few slow motions of a construct (bending of a thin nail, say) are
found once for all of them, and the iterations of each fall by a quarter.

References
----------
O'Leary 1980, Linear Algebra Appl 29:293; Ji & Li 2017, J Comput Appl Math 320:1, for the orthonormal
directions that keep it alive when loads depend on each other.
"""

from __future__ import annotations

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.kernels import LANES, accumulate, multiply
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.multigrid import Cycle
from pipeline.fem.space import Array

MOST_ITERATIONS = 600
ROUND_OFF = 64 * np.finfo(float).eps
DEPENDENT = 1e-12


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
        If it has not converged after 600 iterations.
    """
    total, size, before = 0, norms(b), np.inf
    while total < MOST_ITERATIONS:
        # The recurrence drifts from the true residual by round-off: start again from the true one,
        # until it is met or a fresh start no longer halves it.
        r = b - A @ x
        goal = np.maximum(tolerance * size, round_off(A, x))
        left = float((norms(r) / np.where(goal > 0, goal, 1)).max())
        if left <= 1 or left > before / 2:
            return x, total
        before = left
        x, steps = _descend(A, cycle, b, x, 0.5 * goal)
        total += steps
    worst = float((norms(b - A @ x) / np.where(size > 0, size, 1)).max())
    raise SolveError(
        f"solver: residual {worst:.1e} after {total} iterations; allowed {tolerance:.0e}: a part may "
        "be held by too little; check bolts and screws, or refine mesh.level"
    )


def norms(x: Array) -> Array:
    """Euclidean norm of each load (LANES,)."""
    return np.sqrt(np.diag(gram(x, x)))


def gram(x: Array, y: Array) -> Array:
    """Scalar products of all loads with all loads (LANES, LANES)."""
    return x.reshape(-1, LANES).T @ y.reshape(-1, LANES)


def round_off(A: BlockMatrix, x: Array) -> Array:
    """Size (LANES,) that rounding alone can give to a residual b - A x."""
    return ROUND_OFF * norms(np.abs(A.values[A.pattern.diagonal].reshape(-1, 3, 3)) @ np.abs(x))


def _descend(A: BlockMatrix, cycle: Cycle, b: Array, x: Array, goal: Array) -> tuple[Array, int]:
    """Iterate from a guess until the recurrence's residual reaches the goal."""
    start = np.empty_like(x)
    cycle.correct(b - A @ x, x, start)
    x, r = start, b - A @ start
    z, p, q = np.empty_like(r), np.empty_like(r), np.empty_like(r)
    cycle(r, z)
    step = 0
    while step < MOST_ITERATIONS:
        step += 1
        _orthonormal(z, p)
        multiply(*A.compressed, p, q)
        inverse = _inverse(gram(p, q))
        along = inverse @ gram(p, r)
        accumulate(p, along, x)
        accumulate(q, -along, r)
        if (norms(r) <= goal).all():
            break
        cycle(r, z)
        accumulate(p, -inverse @ gram(q, z), z)
    return x, step


def _orthonormal(x: Array, out: Array) -> None:
    """Write an orthonormal basis of the loads' span into out, zeros where they depend on each other."""
    scales, values, vectors = _scaled(gram(x, x))
    basis = np.zeros((LANES, LANES))
    basis[:, : len(values)] = scales[:, None] * vectors / np.sqrt(values)
    np.matmul(x.reshape(-1, LANES), basis, out=out.reshape(-1, LANES))


def _inverse(G: Array) -> Array:
    """Inverse of a symmetric positive matrix on the span where it is not zero."""
    scales, values, vectors = _scaled(G)
    return scales[:, None] * (vectors / values) @ vectors.T * scales


def _scaled(G: Array) -> tuple[Array, Array, Array]:
    """Scales that give G a unit diagonal, and the eigenvalues and vectors of it that count."""
    size = np.sqrt(np.maximum(np.diag(G), 0))
    scales = np.divide(1, size, out=np.zeros(LANES), where=size > 0)
    values, vectors = np.linalg.eigh((G + G.T) / 2 * scales[:, None] * scales)
    kept = values > DEPENDENT * values[-1]
    return scales, values[kept], vectors[:, kept]
