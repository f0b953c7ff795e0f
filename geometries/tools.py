"""Endless solids that only ever cut others: beyond a face, a slice of cake, a wandering hole."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np
from numpy.typing import NDArray

from geometries.faces import Face
from geometries.frame import Points, radial


@dataclass(frozen=True)
class HalfSpace:
    """Everything above, or below, a face across the shaft: a tool to cut with.

    Parameters
    ----------
    face : Face
        The face.
    is_above : bool
        Which side.
    """

    face: Face
    is_above: bool

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie on its side."""
        higher = points[:, 2] > self.face.at(points[:, 0], points[:, 1])
        return higher if self.is_above else ~higher


@dataclass(frozen=True)
class Sector:
    """A slice of cake about the shaft axis between two heights: a tool to cut with.

    Parameters
    ----------
    azimuth_deg, angle_deg : float
        Side on which its middle lies, and its full angle, degrees.
    low, high : float
        Heights, mm.
    """

    azimuth_deg: float
    angle_deg: float
    low: float
    high: float

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie inside; its radius counts as endless."""
        out, up = np.asarray(radial(self.azimuth_deg)), np.array([0.0, 0.0, 1.0])
        angle = np.arctan2(points @ np.cross(up, out), points @ out)
        beside = np.abs(angle) <= radians(self.angle_deg) / 2
        return beside & (points[:, 2] >= self.low) & (points[:, 2] <= self.high)

    def outline(self, radius: float) -> Points:
        """Corners (k, 2) of its foot, x and y, mm: the axis, then points at a radius."""
        steps = max(2, int(self.angle_deg // 45) + 2)
        turns = np.linspace(-0.5, 0.5, steps) * self.angle_deg + self.azimuth_deg
        rim = [radial(float(turn))[:2] for turn in turns]
        return np.array([(0.0, 0.0), *(radius * np.asarray(rim))])


@dataclass(frozen=True)
class Loft:
    """A round hole whose centre wanders: level circles joined by straight lines. A tool to cut with.

    Parameters
    ----------
    circles : tuple of (float, float, float, float)
        Centre x, y, height z and radius of each, rising, mm.
    """

    circles: tuple[tuple[float, float, float, float], ...]

    def at(self, z: float) -> tuple[float, float, float]:
        """Centre x and y and radius at a height, mm."""
        heights = [circle[2] for circle in self.circles]
        x, y, r = (
            float(np.interp(z, heights, [circle[k] for circle in self.circles])) for k in (0, 1, 3)
        )
        return x, y, r

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie inside."""
        x, y, z, r = np.asarray(self.circles).T
        height = points[:, 2]
        u, v, radius = (np.interp(height, z, one) for one in (x, y, r))
        near = np.hypot(points[:, 0] - u, points[:, 1] - v) <= radius
        return near & (height >= z[0]) & (height <= z[-1])
