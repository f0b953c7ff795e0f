"""The antecurvature: a straight femur bent to a circular arc, convex to the front.

Everything is built and checked straight. The mesh is bent, and with it whatever is read or loaded.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometries.frame import Points, Vector

Places = NDArray[np.floating[Any]] | Vector


@dataclass(frozen=True)
class Bow:
    """The bend of a straight body along z to a circle round a medial axis behind it.

    Both ends of the shaft axis stay on z, the distal one at the origin. A point keeps its distance
    from the shaft axis; along it, lengths grow by y / radius in front and shrink behind.

    Parameters
    ----------
    radius : float
        Of the shaft axis, mm.
    length : float
        Of the straight body, mm.
    """

    radius: float
    length: float

    @property
    def _half(self) -> float:
        return self.length / 2 / self.radius

    @property
    def chord(self) -> float:
        """Distance between the ends of the shaft axis, mm."""
        return 2 * self.radius * sin(self._half)

    def place(self, points: Places) -> Points:
        """Where points (..., 3) of the straight body go, mm."""
        x, y, z = np.moveaxis(np.asarray(points, dtype=float), -1, 0)
        angle = (z - self.length / 2) / self.radius
        out = self.radius + y
        bent = (
            x,
            out * np.cos(angle) - self.radius * cos(self._half),
            out * np.sin(angle) + self.chord / 2,
        )
        return np.stack(bent, axis=-1)

    def straighten(self, points: Places) -> Points:
        """Where points (..., 3) of the bent body come from, mm."""
        x, y, z = np.moveaxis(np.asarray(points, dtype=float), -1, 0)
        front, up = y + self.radius * cos(self._half), z - self.chord / 2
        angle = np.arctan2(up, front)
        straight = (x, np.hypot(front, up) - self.radius, self.length / 2 + self.radius * angle)
        return np.stack(straight, axis=-1)

    def turn(self, vector: Vector, z: float) -> Vector:
        """A direction at a height of the straight body, as it points in the bent one."""
        angle = (z - self.length / 2) / self.radius
        x, y, up = vector
        return (x, y * cos(angle) - up * sin(angle), y * sin(angle) + up * cos(angle))


def sagitta(span: float, radius: float | None) -> float:
    """Height of an arc over its chord, mm; 0 for a straight line."""
    if radius is None:
        return 0.0
    return radius * (1 - cos(asin(span / 2 / radius)))
