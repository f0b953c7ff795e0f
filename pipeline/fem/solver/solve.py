"""Displacements from stiffness, loads and supports: one function, whatever is inside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.limits import ACCEPTED
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.factors import factor
from pipeline.fem.solver.krylov import conjugate_gradients, norms, round_off
from pipeline.fem.solver.mechanism import loose_bodies, refuse_mechanisms, without_stiffness
from pipeline.fem.solver.multigrid import Cycle
from pipeline.fem.solver.transfer import Corners
from pipeline.fem.space import Array, Flags
from pipeline.fem.stiffness import Stiffness

TOLERANCE, LOOSE = 1e-9, 0.1
DIRECT_UP_TO = 3000
Inner = Callable[[Array, Array, Array], tuple[Array, int]]


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


@dataclass(frozen=True)
class Solver:
    """A stiffness with its supports, prepared once for any number of loads.

    Parameters
    ----------
    stiffness : BlockMatrix
        The whole matrix.
    is_free, supports : array of bool
        Components (n, 3, 1) that move, and those that a support holds.
    inner : callable
        Solver of the free components from a right-hand side and a first guess.
    """

    stiffness: BlockMatrix
    is_free: Flags
    supports: Flags
    inner: Inner

    @classmethod
    def of(
        cls, mesh: Mesh, stiffness: Stiffness, held: Flags, corners: Corners | None = None
    ) -> Solver:
        """Prepare to solve with held components.

        Parameters
        ----------
        mesh, stiffness :
            The mesh and its stiffness.
        held : array of bool
            Held components (n, 3).
        corners : Corners, optional
            The mesh's corner level, if it is known.

        Raises
        ------
        SolveError
            If a part can move freely.
        """
        refuse_mechanisms(loose_bodies(mesh, stiffness, held))
        empty = without_stiffness(mesh, stiffness)
        free = (~(held | empty[:, None])).astype(float)
        A = BlockMatrix(stiffness.pattern, stiffness.blocks.reshape(-1, 9))
        return cls(
            stiffness=A,
            is_free=free[:, :, None] > 0,
            supports=(held & ~empty[:, None])[:, :, None],
            inner=_inner(mesh, A, free, corners),
        )

    def solve(
        self,
        forces: Array,
        guess: Array | None = None,
        prescribed: Array | None = None,
        sizes: Array | None = None,
    ) -> Solution:
        """Solve for nodal displacements.

        Parameters
        ----------
        forces : Array
            Nodal forces (n, 3, loads), N.
        guess : Array, optional
            Displacements to start from (n, 3, loads), mm.
        prescribed : Array, optional
            Displacements of the held components (n, 3, loads), mm; zero by default.
        sizes : Array, optional
            Sizes (loads,) by which residuals are judged, N; those of the right-hand sides by default.

        Returns
        -------
        Solution
            Checked by its true residual.

        Raises
        ------
        SolveError
            If the residual is larger than allowed.
        """
        fixed = np.zeros(forces.shape) if prescribed is None else prescribed * self.supports
        start = np.zeros(forces.shape) if guess is None else guess
        found = []
        for first in range(0, forces.shape[2], LANES):
            lanes = slice(first, first + LANES)
            block = (values[:, :, lanes] for values in (forces, fixed, start))
            found.append(self._block(*block, sizes=None if sizes is None else sizes[lanes]))
        return Solution(
            np.concatenate([one.displacement for one in found], axis=2),
            np.concatenate([one.reaction for one in found], axis=2),
            max(one.residual for one in found),
            max(one.iterations for one in found),
        )

    def loosely(self, forces: Array, guess: Array | None = None, left: float = LOOSE) -> Array:
        """Displacements (n, 3, loads), mm, that leave a share of the forces.

        By default it is a tenth: enough to weigh errors by. Components that are held stay where the
        guess has them.
        """
        found = np.zeros(forces.shape)
        for first in range(0, forces.shape[2], LANES):
            some = forces[:, :, first : first + LANES]
            b, x = _lanes(some), np.zeros((*forces.shape[:2], LANES))
            if guess is not None:
                x = _lanes(guess[:, :, first : first + LANES])
            wanted, held = left / TOLERANCE * norms(b), x * self.supports
            if held.any():
                b -= self.stiffness @ held
            moved, _ = self.inner(b * self.is_free, x * self.is_free, wanted)
            found[:, :, first : first + LANES] = (moved + held)[:, :, : some.shape[2]]
        return found

    def _block(self, forces: Array, fixed: Array, guess: Array, *, sizes: Array | None) -> Solution:
        """Solve for up to LANES loads and check the true residual."""
        loads = forces.shape[2]
        f, held = _lanes(forces), _lanes(fixed)
        b = (f - self.stiffness @ held if held.any() else f) * self.is_free
        size = norms(b)
        if sizes is not None:
            size[:loads] = sizes
        x, iterations = self.inner(b, _lanes(guess) * self.is_free, size)
        u = x + held
        imbalance = self.stiffness @ u - f
        scale = np.where(size > 0, size, 1)
        missed = norms(imbalance * self.is_free) / scale
        if not (missed <= np.maximum(ACCEPTED, round_off(self.stiffness, u) / scale)).all():
            raise SolveError(
                f"solver: true residual {missed.max():.1e}; allowed {ACCEPTED:.0e}: refine mesh.level"
            )
        reaction = imbalance * self.supports
        return Solution(u[:, :, :loads], reaction[:, :, :loads], float(missed.max()), iterations)


def solve(
    mesh: Mesh,
    stiffness: Stiffness,
    forces: Array,
    held: Flags,
    guess: Array | None = None,
    prescribed: Array | None = None,
) -> Solution:
    """Solve once; see `Solver` for what is taken, returned and raised."""
    return Solver.of(mesh, stiffness, held).solve(forces, guess, prescribed)


def _inner(mesh: Mesh, A: BlockMatrix, free: Array, corners: Corners | None) -> Inner:
    """Solver of the free components from a right-hand side, a first guess and sizes of residuals.

    A small system is factored whole and takes no iterations.
    """
    if mesh.unknowns > DIRECT_UP_TO:
        cycle = Cycle(A, corners or Corners.of(mesh, A.pattern), free)
        return lambda b, start, size: conjugate_gradients(A, free, cycle, b, start, TOLERANCE * size)
    whole = Corners.everywhere(A.pattern).moving(free)
    factors = factor(whole.matrix(A), whole.plan)

    def direct(b: Array, start: Array, _: Array) -> tuple[Array, int]:
        x = start + factors.solve((b - A @ start) * free[:, :, None])
        return x + factors.solve((b - A @ x) * free[:, :, None]), 0

    return direct


def _lanes(values: Array) -> Array:
    """Nodal values (n, 3, loads) filled up with zeros to the width of a block vector."""
    padded = np.zeros((*values.shape[:2], LANES))
    padded[:, :, : values.shape[2]] = values
    return padded
