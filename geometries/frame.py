"""The frame that everything stands in, lengths in mm.

z up the shaft, x medial, y anterior, origin at the knee end of the shaft axis. An azimuth turns from
lateral (0 degrees) over anterior (90) to medial (180).
"""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

Vector = tuple[float, float, float]
Points = NDArray[np.float64]


def radial(azimuth_deg: float) -> Vector:
    """Unit vector that points away from the shaft axis at an azimuth (0 lateral, 90 anterior)."""
    angle = radians(azimuth_deg)
    return (-cos(angle), sin(angle), 0.0)
