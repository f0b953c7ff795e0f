"""Conjugate gradients for all loads of a mesh side by side, each with its own steps.

They share every pass over the matrix and nothing else, so loads that depend on each other, or differ
by many powers of ten, do not disturb one another.

References
----------
Notay 2000, SIAM J Sci Comput 22:1444 (from memory), for the direction by q instead of by two residuals,
which stands a preconditioner in single precision.
"""

from __future__ import annotations

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.kernels import LANES, advance, dots, multiply, turn
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.multigrid import Cycle
from pipeline.fem.space import Array

MOST_ITERATIONS = 600
ROUND_OFF = 64 * np.finfo(float).eps


def conjugate_gradients(
    A: BlockMatrix, cycle: Cycle, b: Array, x: Array, wanted: Array
) -> tuple[Array, int]:
    """Solve A x = b for LANES right-hand sides at once.

    Parameters
    ----------
    A, cycle :
        Matrix in double precision and preconditioner.
    b, x : Array
        Right-hand sides and first guess (n, 3, LANES).
    wanted : Array
        Size of each residual that is wanted (LANES,). Where round-off in A x alone is larger than that,
        round-off is the limit; the caller checks what was reached.

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
    total, before = 0, np.inf
    while total < MOST_ITERATIONS:
        # The recurrence drifts from the true residual by round-off: start again from the true one,
        # until it is met or a fresh start no longer halves it.
        r = b - A @ x
        goal = np.maximum(wanted, round_off(A, x))
        left = float((norms(r) / np.where(goal > 0, goal, 1)).max())
        if left <= 1 or left > before / 2:
            return x, total
        before = left
        x, steps = _descend(A, cycle, b, x, 0.5 * goal)
        total += steps
    over = float((norms(b - A @ x) / np.where(wanted > 0, wanted, 1)).max())
    raise SolveError(
        f"solver: residual {over:.1e} times what is allowed after {total} iterations: a part may be "
        "held by too little; check bolts and screws, or refine mesh.level"
    )


def norms(x: Array) -> Array:
    """Euclidean norm of each load (LANES,)."""
    return np.sqrt(dots(x, x))


def round_off(A: BlockMatrix, x: Array) -> Array:
    """Size (LANES,) that rounding alone can give to a residual b - A x."""
    return ROUND_OFF * norms(np.abs(A.values[A.pattern.diagonal].reshape(-1, 3, 3)) @ np.abs(x))


def _descend(A: BlockMatrix, cycle: Cycle, b: Array, x: Array, goal: Array) -> tuple[Array, int]:
    """Iterate from a guess until the recurrence's residuals reach the goal."""
    start = np.empty_like(x)
    cycle.correct(b - A @ x, x, start)
    x, r = start, b - A @ start
    z, p, q = np.empty_like(r), np.zeros_like(r), np.zeros_like(r)
    curvature: Array = np.zeros(LANES)
    for step in range(MOST_ITERATIONS):
        if (norms(r) <= goal).all():
            return x, step
        cycle(r, z)
        back = -_share(dots(q, z), curvature)
        turn(z, back, p)
        multiply(*A.compressed, p, q)
        curvature = dots(p, q)
        advance(_share(dots(p, r), curvature), p, q, x, r)
    return x, MOST_ITERATIONS


def _share(part: Array, whole: Array) -> Array:
    """One over the other, 0 where there is nothing left to do."""
    return np.divide(part, whole, out=np.zeros(LANES), where=whole > 0)
