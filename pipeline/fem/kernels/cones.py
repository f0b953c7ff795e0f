"""The cone program of contact by an interior-point method, dense and compiled: a millisecond.

Each condition is a cone u0 >= |(u1, u2, ...)|, in which both its forces s and its movements z stay. Of
a disc, s is a bound of the force's size and the force, z the clearance and the movement. Of a stop that
only pushes, both are one number. Rows are as long as the longest cone, filled up with zeros, which
change nothing. The method is the primal-dual one with Nesterov and Todd's scaling and Mehrotra's
corrector.

References
----------
Andersen, Roos & Terlaky 2003, Math Program 95:249, and Vandenberghe 2010, The CVXOPT linear and
quadratic cone program solvers; both from memory.
"""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints
from pipeline.fem.kernels.dense import factorize, solve_lower, solve_upper

Matrices = tuple[Array, Array]
Drive = tuple[Array, Array, Array]

MOST = 40  # steps
SHORT = 0.99  # of the way to where a cone ends
CLOSE = 1e-9  # to complementarity, as a share of the largest force: what then grows is round-off


@numba.njit(cache=True, error_model="numpy")
def _out_of_balance(
    matrices: Matrices, drive: Drive, spring: float, places: Ints, room: Array,
    state: tuple[Array, Array, Array],
) -> tuple[Array, Array, Array]:  # fmt: skip
    """What is left of the conditions of movements, of discs' clearances, and of floating bodies."""
    (C, B), (free, loads, motion), (x, q, z) = matrices, drive, state
    moves, sizes = C @ x + free + B @ q, np.zeros(len(places))
    for k in range(len(places)):
        for j in range(places.shape[1]):
            if places[k, j] >= 0:
                moves[places[k, j]] -= z[k, j]
        if places[k, 0] < 0:
            sizes[k] = room[k] - z[k, 0]
    return moves, sizes, B.T @ x + loads - spring * (q - motion)


@numba.njit(cache=True, error_model="numpy")
def _largest(values: Array) -> float:
    return np.abs(values).max() if len(values) else 0.0


@numba.njit(cache=True, error_model="numpy")
def _across(u: Array, v: Array) -> float:
    """Scalar product of two vectors without their first entries."""
    total = 0.0
    for i in range(1, len(u)):
        total += u[i] * v[i]
    return total


@numba.njit(cache=True, error_model="numpy")
def _stretched(w: Array, eta: float, u: Array, sign: float, out: Array) -> None:
    """Write W u, or its inverse times u with a negative sign, into out."""
    size, across = eta**sign, _across(w, u)
    start = sign * u[0] + across / (1 + w[0])
    out[0] = size * (w[0] * u[0] + sign * across)
    for i in range(1, len(u)):
        out[i] = size * (u[i] + w[i] * start)


@numba.njit(cache=True, error_model="numpy")
def _depth(u: Array) -> float:
    """How far inside its cone a vector is; nil on its edge, outside, and in the cone opposite."""
    return np.sqrt(max(u[0] ** 2 - _across(u, u), 0.0)) if u[0] > 0 else 0.0


@numba.njit(cache=True, error_model="numpy")
def _scale(s: Array, z: Array, w: Array, eta: Array, middle: Array) -> bool:
    """Write the scaling of each cone that takes forces and movements to one vector, and that vector.

    It is false if round-off has brought one to the edge of its cone.
    """
    for k in range(len(s)):
        a, b = _depth(s[k]), _depth(z[k])
        if not (a > 0 and b > 0):
            return False
        both = np.sqrt(2 * (1 + (s[k, 0] * z[k, 0] + _across(s[k], z[k])) / (a * b)))
        w[k, 0] = (s[k, 0] / a + z[k, 0] / b) / both
        for i in range(1, w.shape[1]):
            w[k, i] = (s[k, i] / a - z[k, i] / b) / both
        eta[k] = np.sqrt(a / b)
        _stretched(w[k], eta[k], z[k], 1.0, middle[k])
    return True


@numba.njit(cache=True, error_model="numpy")
def _add_cones(A: Array, places: Ints, w: Array, eta: Array, first: Array) -> None:
    """Add what the cones resist to the compliance; `first` keeps what bounds of forces share."""
    for k in range(len(places)):
        own = 1 / eta[k] ** 2
        first[k, 0] = (2 * w[k, 0] ** 2 - 1) * own
        for i in range(1, w.shape[1]):
            first[k, i] = -2 * w[k, 0] * w[k, i] * own
        if places[k, 0] >= 0:
            A[places[k, 0], places[k, 0]] += first[k, 0]
            continue
        for i in range(1, w.shape[1]):
            if places[k, i] >= 0:
                A[places[k, i], places[k, i]] += own
                for j in range(1, w.shape[1]):
                    if places[k, j] >= 0:
                        both = 2 * w[k, i] * w[k, j] * own
                        A[places[k, i], places[k, j]] += both - first[k, i] * first[k, j] / first[k, 0]


@numba.njit(cache=True, error_model="numpy")
def _aim(middle: Array, ds: Array, dz: Array, wanted: float, aim: Array) -> None:
    """Write where each cone is to go: nearer the middle of the path, less what a first step missed."""
    for k in range(len(middle)):
        own, u = middle[k], aim[k]
        for i in range(1, len(u)):
            u[i] = -(ds[k, 0] * dz[k, i] + dz[k, 0] * ds[k, i])
        u[0] = wanted - ds[k, 0] * dz[k, 0] - _across(ds[k], dz[k])
        ahead = (own[0] * u[0] - _across(own, u)) / _depth(own) ** 2
        for i in range(1, len(u)):
            u[i] = (u[i] - ahead * own[i]) / own[0] - own[i]
        u[0] = ahead - own[0]


@numba.njit(cache=True, error_model="numpy")
def _reach(u: Array, d: Array) -> float:
    """How many steps d lead from u to the edge of its cone."""
    far = -u[0] / d[0] if d[0] < 0 else np.inf
    a = d[0] ** 2 - _across(d, d)
    b = u[0] * d[0] - _across(u, d)
    c = _depth(u) ** 2
    root = b * b - a * c
    if root >= 0:
        q = -(b + (np.sqrt(root) if b >= 0 else -np.sqrt(root)))
        if q * a > 0:
            far = min(far, q / a)
        if c * q > 0:
            far = min(far, c / q)
    return far


@numba.njit(cache=True, error_model="numpy")
def _solved(
    factors: tuple[Array, Array, Array], places: Ints, first: Array, scaling: tuple[Array, Array],
    off: tuple[Array, Array, Array], aim: Array,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Steps of the forces, of the rigid motions and of the cones' forces towards an aim."""
    (A, Y, small), (w, eta), (moves, sizes, left) = factors, scaling, off
    dx, ds = -moves, np.empty_like(aim)
    for k in range(len(places)):
        _stretched(w[k], eta[k], aim[k], -1.0, ds[k])
        ds[k, 0] -= sizes[k]
        share = ds[k, 0] / first[k, 0] if places[k, 0] < 0 else 0.0
        for j in range(places.shape[1]):
            if places[k, j] >= 0:
                dx[places[k, j]] += ds[k, j] - first[k, j] * share
    solve_lower(A, dx)
    dq = Y @ dx + left
    solve_lower(small, dq)
    solve_upper(small, dq)
    dx -= Y.T @ dq
    solve_upper(A, dx)
    for k in range(len(places)):
        bound = ds[k, 0]
        for j in range(places.shape[1]):
            ds[k, j] = dx[places[k, j]] if places[k, j] >= 0 else 0.0
        if places[k, 0] < 0:
            ds[k, 0] = (bound - _across(first[k], ds[k])) / first[k, 0]
    return dx, dq, ds


@numba.njit(cache=True, error_model="numpy")
def _factors(
    matrices: Matrices, spring: float, places: Ints, w: Array, eta: Array, first: Array
) -> tuple[Array, Array, Array, bool]:
    """Factor of what forces meet, rigid motions half solved, factor of what they meet; if there is."""
    C, B = matrices
    A, Y = C.copy(), np.ascontiguousarray(B.T)
    _add_cones(A, places, w, eta, first)
    is_sound = factorize(A)
    for row in Y:
        solve_lower(A, row)
    small = Y @ Y.T + spring * np.eye(len(Y))
    return A, Y, small, is_sound and factorize(small)


@numba.njit(cache=True, error_model="numpy")
def _along(scaling: tuple[Array, Array], middle: Array, aim: Array, ds: Array, dz: Array) -> float:
    """Write the cones' scaled steps over those of their forces; how many of them reach an edge."""
    (w, eta), far = scaling, np.inf
    for k in range(len(ds)):
        _stretched(w[k], eta[k], ds[k], -1.0, ds[k])
        dz[k] = aim[k] - ds[k]
        far = min(far, _reach(middle[k], ds[k]), _reach(middle[k], dz[k]))
    return far


@numba.njit(cache=True, error_model="numpy")
def bearing_forces(
    matrices: Matrices, places: Ints, room: Array, drive: Drive, spring: float
) -> tuple[Array, Array]:
    """Forces of stops in balance with a load, and rigid motions.

    Parameters
    ----------
    matrices : (Array, Array)
        Compliance (n, n), whose diagonal is about one, and movements per rigid motion (n, m).
    places : Ints
        Component of each entry of each cone (cones, 1 + longest); -1 of a bound of a force's size,
        which comes first, and of what fills up.
    room : Array
        Clearance of each cone (cones,); that of a stop that only pushes is among the free movements.
    drive : (Array, Array, Array)
        Movements without forces (n,), work of the load in the rigid motions, and where the springs end
        on which floating bodies hang (m,).
    spring : float
        Their stiffness.

    Returns
    -------
    (Array, Array)
        Forces (n,) and rigid motions (m,), nearly: the search ends where round-off does.
    """
    x, q = np.zeros(len(drive[0])), drive[2].copy()
    s = np.zeros(places.shape)
    s[:, 0] = 1.0
    z, w, middle, first = s.copy(), np.empty_like(s), np.empty_like(s), np.empty_like(s)
    aim, dz, eta, least = np.empty_like(s), np.empty_like(s), np.empty(len(s)), np.inf
    for k in range(len(places)):
        if places[k, 0] >= 0:
            x[places[k, 0]] = 1.0
    best, best_q = x, q
    for _ in range(MOST):
        off = _out_of_balance(matrices, drive, spring, places, room, (x, q, z))
        gap = (s * z).sum() / max(len(s), 1)
        left = max(gap, _largest(off[0]), _largest(off[1]), _largest(off[2]))
        is_done = gap < CLOSE * max(1.0, _largest(x)) and left > least / 2
        if left < least:
            best, best_q, least = x.copy(), q.copy(), left
        if is_done or not _scale(s, z, w, eta, middle):
            break
        A, Y, small, is_sound = _factors(matrices, spring, places, w, eta, first)
        if not is_sound:
            break
        aim[:] = -middle
        _, _, ds = _solved((A, Y, small), places, first, (w, eta), off, aim)
        wanted = gap * max(0.0, 1 - _along((w, eta), middle, aim, ds, dz)) ** 3
        _aim(middle, ds, dz, wanted, aim)
        dx, dq, ds = _solved((A, Y, small), places, first, (w, eta), off, aim)
        plain = ds.copy()
        step = min(1.0, SHORT * _along((w, eta), middle, aim, ds, dz))
        x += step * dx
        q += step * dq
        s += step * plain
        for k in range(len(s)):
            _stretched(w[k], eta[k], dz[k], -1.0, dz[k])
        z += step * dz
    return best, best_q
