"""The frame that everything stands in, lengths in mm.

z up the shaft, x medial, y anterior, origin at the knee end of the shaft axis. An azimuth turns from
lateral (0 degrees) over anterior (90) to medial (180).
"""

from __future__ import annotations

from math import cos, radians, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray

Vector = tuple[float, float, float]
Points = NDArray[np.float64]
Real = NDArray[np.floating[Any]]


def radial(azimuth_deg: float) -> Vector:
    """Unit vector that points away from the shaft axis at an azimuth (0 lateral, 90 anterior)."""
    angle = radians(azimuth_deg)
    return (-cos(angle), sin(angle), 0.0)


def cross(a: Real, b: Real) -> Real:
    """Cross products (..., 3) of vectors, each (3,) or (k, 3); `np.cross` is slow to find its axes."""
    (ax, ay, az), (bx, by, bz) = a.T, b.T
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]).T
