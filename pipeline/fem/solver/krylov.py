"""Conjugate gradients for all loads of a mesh side by side, each with its own steps.

They share every pass over the matrix and nothing else, so loads that depend on each other, or differ
by many powers of ten, do not disturb one another.

References
----------
Notay 2000, SIAM J Sci Comput 22:1444, as read in PETSc's flexible conjugate gradients: the direction
by q instead of by two residuals, which stands a preconditioner in single precision.
"""

from __future__ import annotations

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.kernels.passes import SHARES, dot, strain_along, turn
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.multigrid import Cycle
from pipeline.fem.space import Array

MOST_ITERATIONS = 600
TOLD = 7  # one node in so many
PRODUCTS, DIGITS = 64, 4  # roundings that a residual can hold


def conjugate_gradients(
    A: BlockMatrix, free: Array, cycle: Cycle, b: Array, x: Array, wanted: Array
) -> tuple[Array, int]:
    """Solve free A x = b for LANES right-hand sides at once, x and b nil where components are held.

    Parameters
    ----------
    A, cycle :
        Matrix in double precision and preconditioner.
    free : Array
        1 where a component is free, 0 where it is held (n, 3).
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
        r = _left(A, free, b, x)
        goal = np.maximum(wanted, round_off(A, x))
        left = float((norms(r) / np.where(goal > 0, goal, 1)).max())
        if left <= 1 or left > before / 2:
            return x, total
        before = left
        x, steps = _descend(A, free, cycle, (b, x, r), 0.5 * goal)
        total += steps
    over = float((norms(_left(A, free, b, x)) / np.where(wanted > 0, wanted, 1)).max())
    raise SolveError(
        f"solver: residual {over:.1e} times what is allowed after {total} iterations: a part may be "
        "held by too little; check bolts and screws, or refine mesh.level"
    )


def norms(x: Array) -> Array:
    """Euclidean norm of each load (LANES,)."""
    sums = np.empty((SHARES, LANES))
    dot(x, x, sums)
    return np.sqrt(sums.sum(axis=0))


def round_off(A: BlockMatrix, x: Array) -> Array:
    """Size (LANES,) that rounding alone can give to a residual b - A x.

    Products go by how much neighbours move against each other, and most nodes follow a neighbour in
    number; a movement itself has no more digits than it has. A share of the nodes tells.
    """
    some, before = slice(1, None, TOLD), slice(0, -1, TOLD)
    sizes = PRODUCTS * np.abs(x[some] - x[before]) + DIGITS * np.abs(x[some])
    forces = np.abs(A.diagonal[some]) @ sizes
    return np.asarray(np.finfo(float).eps * np.sqrt(TOLD * (forces**2).sum(axis=(0, 1))))


def _left(A: BlockMatrix, free: Array, b: Array, x: Array) -> Array:
    """Residual of the free components."""
    r = A @ x
    np.subtract(b, r, out=r)
    r *= free[:, :, None]
    return r


def _descend(
    A: BlockMatrix, free: Array, cycle: Cycle, start: tuple[Array, Array, Array], goal: Array
) -> tuple[Array, int]:
    """Iterate from right-hand sides, a guess and its residual until the residuals reach the goal.

    Directions are in single precision, like the preconditioner that they come from; what is done with
    them is in double.
    """
    b, x, r = start
    x = x + cycle.corners_only(r)
    r, q, goal = _left(A, free, b, x), np.zeros_like(x), np.maximum(goal, 0.5 * round_off(A, x))
    z, p = (np.zeros(x.shape, np.float32) for _ in range(2))
    along: Array = np.zeros(LANES)
    curvature: Array = np.zeros(LANES)
    sums = np.empty((2, SHARES, LANES))
    for step in range(MOST_ITERATIONS):
        if (np.sqrt(cycle.advance(along, p, q, x, r)) <= goal).all():
            return x, step
        turn(z, -_share(cycle(q, z), curvature), p)
        strain_along(A.compressed, free, p, r, q, sums)
        curvature, slope = sums.sum(axis=1)
        along = _share(slope, curvature)
    return x, MOST_ITERATIONS


def _share(part: Array, whole: Array) -> Array:
    """One over the other, 0 where there is nothing left to do."""
    return np.divide(part, whole, out=np.zeros(LANES), where=whole > 0)
