"""Principal values and equivalent stresses of many symmetric tensors at once.

LAPACK finds principal values of one tensor at a time, which takes forty times longer than Jacobi's
rotations of many. Closed formulas lose half of the digits where two of the values are near each other.
"""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array

AT_ONCE = 512  # tensors that stay near while they are turned
SWEEPS = 4  # over the three planes, after which nothing is left beside the diagonal but round-off


@numba.njit(inline="always")
def _turned(p: float, q: float, h: float, r: float, s: float) -> tuple[float, float, float, float]:
    """Diagonal p, q of a plane without the h beside it, and what that makes of the other two."""
    apart = q - p
    t = 2 * h / (abs(apart) + np.sqrt(apart * apart + 4 * h * h) + np.finfo(np.float64).tiny)
    t = t if apart >= 0 else -t
    c = 1 / np.sqrt(1 + t * t)
    return p - t * h, q + t * h, c * (r - t * s), c * (s + t * r)


@numba.njit(cache=True, error_model="numpy")
def principal_values(tensors: Array) -> Array:
    """Principal values (3, n), rising, of tensors (6, n): xx, yy, zz, xy, yz, zx."""
    count = tensors.shape[1]
    found, turned = np.empty((3, count)), np.empty((6, AT_ONCE))
    for first in range(0, count, AT_ONCE):
        own = min(AT_ONCE, count - first)
        for i in range(6):
            for k in range(own):  # no slices, which take seconds to compile
                turned[i, k] = tensors[i, first + k]
        for _ in range(SWEEPS):
            for k in range(own):  # one simple loop, which the compiler does four at a time
                x, y, z = turned[0, k], turned[1, k], turned[2, k]
                xy, yz, zx = turned[3, k], turned[4, k], turned[5, k]
                x, y, zx, yz = _turned(x, y, xy, zx, yz)
                y, z, xy, zx = _turned(y, z, yz, 0.0, zx)
                x, z, xy, yz = _turned(x, z, zx, xy, 0.0)
                turned[0, k], turned[1, k], turned[2, k] = x, y, z
                turned[3, k], turned[4, k], turned[5, k] = xy, yz, 0.0
        for k in range(own):
            x, y, z = turned[0, k], turned[1, k], turned[2, k]
            low, high = min(x, y), max(x, y)
            found[0, first + k] = min(low, z)
            found[1, first + k] = max(low, min(high, z))
            found[2, first + k] = max(high, z)
    return found


@numba.njit(inline="always")
def equivalent(xx: float, yy: float, zz: float, xy: float, yz: float, zx: float) -> float:
    """Von Mises stress of a stress."""
    normal = (xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2
    return np.sqrt(normal / 2 + 3 * (xy**2 + yz**2 + zx**2))


@numba.njit(cache=True, error_model="numpy")
def von_mises_of(stress: Array) -> Array:
    """Von Mises stresses (m, n) of stresses (m, 6, n)."""
    count, _, points = stress.shape
    found = np.empty((count, points))
    for e in range(count):
        for k in range(points):
            found[e, k] = equivalent(
                stress[e, 0, k], stress[e, 1, k], stress[e, 2, k],
                stress[e, 3, k], stress[e, 4, k], stress[e, 5, k],
            )  # fmt: skip
    return found
