"""Displacements from stiffness, loads and supports: one function, whatever is inside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.blocks import BlockMatrix
from pipeline.fem.factors import factor
from pipeline.fem.kernels import LANES
from pipeline.fem.krylov import conjugate_gradients, norms, round_off
from pipeline.fem.mechanism import refuse_mechanisms
from pipeline.fem.mesh import Mesh
from pipeline.fem.multigrid import prepare
from pipeline.fem.space import Array, Flags
from pipeline.fem.stiffness import Stiffness

TOLERANCE = 1e-9
ACCEPTED = 1e-8
DIRECT_UP_TO = 3000


@dataclass(frozen=True)
class Solution:
    """Displacements under several loads.

    Parameters
    ----------
    displacement : Array
        Nodal displacements (n, 3, loads), mm.
    reaction : Array
        Forces of the supports on the held components (n, 3, loads), N; zero elsewhere.
    residual : float
        Largest out-of-balance force over all free components, as a share of the load.
    iterations : int
        Iterations of the solver; 0 where a small system was factored whole.
    """

    displacement: Array
    reaction: Array
    residual: float
    iterations: int


def solve(
    mesh: Mesh,
    stiffness: Stiffness,
    forces: Array,
    held: Flags,
    guess: Array | None = None,
    prescribed: Array | None = None,
) -> Solution:
    """Solve for nodal displacements.

    Parameters
    ----------
    mesh, stiffness :
        The mesh and its stiffness.
    forces : Array
        Nodal forces (n, 3, loads), N.
    held : array of bool
        Held components (n, 3).
    guess : Array, optional
        Displacements to start from (n, 3, loads), mm.
    prescribed : Array, optional
        Displacements of the held components (n, 3, loads), mm; zero by default.

    Returns
    -------
    Solution
        Checked by its true residual.

    Raises
    ------
    SolveError
        If a part can move freely or the residual is larger than allowed.
    """
    pattern, loads = stiffness.patterns.nodes, forces.shape[2]
    if loads > LANES:
        raise SolveError(f"solver: {loads} loads at once; allowed {LANES} or fewer")
    empty = _without_stiffness(stiffness)
    refuse_mechanisms(mesh, stiffness, held, empty)
    free = (~(held | empty[:, None])).astype(float)
    K = BlockMatrix(pattern, stiffness.nodes.reshape(-1, 9))
    A = BlockMatrix.held(pattern, stiffness.nodes, free)
    fixed = _lanes(prescribed, forces.shape) * held[:, :, None]
    f = _lanes(forces, forces.shape)
    b = (f - K @ fixed) * free[:, :, None]
    start = _lanes(guess, forces.shape) * free[:, :, None]
    x, iterations = _solve_free(mesh, stiffness, A, b, start, free)
    u = x + fixed
    imbalance = K @ u - f
    out = imbalance * free[:, :, None]
    size, limit = norms(b), round_off(A, u)
    missed = norms(out) / np.where(size > 0, size, 1)
    if not (missed <= np.maximum(ACCEPTED, limit / np.where(size > 0, size, 1))).all():
        raise SolveError(
            f"solver: true residual {missed.max():.1e}; allowed {ACCEPTED:.0e}: refine mesh.level"
        )
    reaction = imbalance * (held & ~empty[:, None])[:, :, None]
    return Solution(u[:, :, :loads], reaction[:, :, :loads], float(missed.max()), iterations)


def _solve_free(
    mesh: Mesh, stiffness: Stiffness, A: BlockMatrix, b: Array, start: Array, free: Array
) -> tuple[Array, int]:
    """Free displacements and iterations: none for a small system, which is factored whole."""
    if mesh.unknowns > DIRECT_UP_TO:
        cycle = prepare(mesh, stiffness, A, free)
        return conjugate_gradients(A, cycle, b, start, TOLERANCE)
    factors = factor(A.sparse())
    x = factors.solve(b)
    return x + factors.solve(b - A @ x), 0


def _lanes(values: Array | None, shape: tuple[int, ...]) -> Array:
    """Nodal values (n, 3, loads) filled up with zeros to the width of a block vector."""
    padded = np.zeros((shape[0], 3, LANES))
    if values is not None:
        padded[:, :, : shape[2]] = values
    return padded


def _without_stiffness(stiffness: Stiffness) -> Flags:
    """Nodes (n,) that belong to empty tissue alone."""
    pattern = stiffness.patterns.nodes
    return np.asarray(np.trace(stiffness.nodes[pattern.diagonal], axis1=1, axis2=2) == 0)
