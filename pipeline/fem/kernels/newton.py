"""Newton's method for stops of which it is known which bear: their forces to round-off."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Flags, Ints
from pipeline.fem.kernels.cones import Matrices

STEPS = 30
FARTHEST = 10.0  # how much worse a step may make it
BALANCED = 1e-10


@numba.njit(cache=True, error_model="numpy")
def _components(starts: Ints, bears: Flags) -> Ints:
    """Components of the stops that bear."""
    own = np.zeros(starts[-1], np.bool_)
    for k in np.flatnonzero(bears):
        own[starts[k] : starts[k + 1]] = True
    return np.flatnonzero(own)


@numba.njit(cache=True, error_model="numpy")
def _rims(stops: tuple[Ints, Array, Flags], bears: Flags, f: Array, off: Array, stiff: Array) -> None:
    """Add each bearing stop's clearance to movements, and how it turns with the force to the rest."""
    (starts, room, is_one_sided), at = stops, 0
    for k in np.flatnonzero(bears):
        own = f[starts[k] : starts[k + 1]]
        count = len(own)
        if is_one_sided[k]:
            off[at] += room[k]
        elif room[k] > 0:
            size = max(np.sqrt((own**2).sum()), np.finfo(np.float64).tiny)
            for i in range(count):
                off[at + i] += room[k] * own[i] / size
                for j in range(count):
                    across = (1.0 if i == j else 0.0) - own[i] / size * own[j] / size
                    stiff[at + i, at + j] += room[k] / size * across
        at += count


@numba.njit(cache=True, error_model="numpy")
def balanced(
    matrices: Matrices, stops: tuple[Ints, Array, Flags], drive: tuple[Array, Array], spring: float,
    bears: Flags, begin: tuple[Array, Array],
) -> tuple[Array, Array, Array, bool]:  # fmt: skip
    """Forces, rigid motions and movements in balance if just some stops bear, whichever way.

    Parameters
    ----------
    matrices : (Array, Array)
        Compliance (n, n) and movements per rigid motion (n, m).
    stops : (Ints, Array, Flags)
        First component (stops + 1,), clearance (stops,), and which of them only push (stops,).
    drive : (Array, Array)
        Movements without forces (n,), and work of the load in the rigid motions (m,).
    spring : float
        So stiff do floating bodies hang on springs that follow them.
    bears : array of bool
        Which stops bear (stops,).
    begin : (Array, Array)
        Forces (n,) and rigid motions (m,) to begin with.

    Returns
    -------
    (Array, Array, Array, bool)
        Forces (n,), motions (m,), movements (n,), and whether they are in balance.
    """
    (C, B), (free, loads) = matrices, drive
    own, (before, q) = _components(stops[0], bears), begin
    f = np.zeros(len(free))
    f[own] = before[own]
    count, modes = len(own), len(loads)
    near, inside = np.empty((count, count)), B[own]
    for i in range(count):
        near[i] = C[own[i]][own]
    K, off, worst = np.zeros((count + modes, count + modes)), np.empty(count + modes), np.inf
    K[:count, count:], K[count:, :count] = inside, inside.T
    for i in range(count, count + modes):
        K[i, i] = -spring
    for _ in range(STEPS):
        move = C @ f + free + B @ q
        K[:count, :count] = near
        off[:count], off[count:] = move[own], B.T @ f + loads
        _rims(stops, bears, f, off, K)
        left = np.abs(off).max() if len(off) else 0.0
        if left >= worst / 2 and left < BALANCED * max(np.abs(f).max(), 1.0):
            return f, q, move, True  # as near as round-off lets it come
        if not left < FARTHEST * worst:
            break
        worst = left
        step = np.linalg.solve(K, -off) if len(off) else off
        f[own] += step[:count]
        q = q + step[count:]
    return f, q, free, False
