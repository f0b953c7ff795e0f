"""Stops: pairs of facing windows on two bodies that can not pass through each other, as pure data.

A stop reads one relative movement, averaged over its windows, in one or two directions. It bears once
that movement has used up its clearance. All in mm, in the frame of the straight femur.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf

from geometries.errors import StudyError
from geometries.frame import Vector

SAME_MM = 1e-6


@dataclass(frozen=True)
class Line:
    """A straight axis: a point of it, the unit vector along which it is measured, and how it goes on.

    Parameters
    ----------
    base : Vector
        Its point at 0.
    along : Vector
        Unit vector along which places on it are counted.
    lean : Vector
        How far it goes per mm counted; `along` itself for one that does not lean.
    """

    base: Vector
    along: Vector
    lean: Vector


@dataclass(frozen=True)
class Round:
    """A stretch of a round surface, from `low` to `high` along its axis.

    Points farther from the radius than a tolerance do not belong to it. `is_outside` says whether it
    looks away from the axis, as a rod does, or towards it, as a wall does.
    """

    axis: Line
    low: float
    high: float
    radius: float
    is_outside: bool


@dataclass(frozen=True)
class Spot:
    """A spot of a surface within a distance of a point; the normal points out of the body."""

    point: Vector
    normal: Vector
    within: float


@dataclass(frozen=True)
class Stop:
    """Two facing windows and the movement that they allow.

    Parameters
    ----------
    touch : str
        What meets there, for tables: ``canal_distal``, ``bolt_2``, ``bone_ends``, ``plate``.
    parts : (tuple of str, tuple of str)
        Parts of the first body and of the second; one that a construct lacks is passed over.
    windows : (Round or Spot, Round or Spot)
        Where on each.
    points : tuple of Vector
        Where the movement is read, one for each direction.
    directions : tuple of Vector
        Unit vectors along which the movement of the first body against the second is read.
    clearance : float
        Two-sided: how long the vector of movement and rest may become. One-sided: how far the movement
        may become negative.
    rest : tuple of float
        Where the first body stands in each direction before it moves; zeros for a one-sided stop.
    is_one_sided : bool
        Whether it bears only where the bodies come closer, or whichever way they go.
    relieves_mm : float
        Within this distance a stop of the same touch that bears takes this one's load off it as well.
    """

    touch: str
    parts: tuple[tuple[str, ...], tuple[str, ...]]
    windows: tuple[Round | Spot, Round | Spot]
    points: tuple[Vector, ...]
    directions: tuple[Vector, ...]
    clearance: float
    rest: tuple[float, ...]
    is_one_sided: bool = False
    relieves_mm: float = inf

    @property
    def height(self) -> float:
        """Height at which it is read, mm."""
        return self.points[0][2]

    def check(self) -> None:
        """Refuse surfaces that overlap at rest.

        Raises
        ------
        StudyError
            Says where, by how much, and what to change.
        """
        room = self.clearance - hypot(*self.rest)
        if room < -SAME_MM:
            raise StudyError(
                f"{self.touch} at {self.height:.1f} mm: its surfaces overlap by {-room:.2f} mm before "
                "anything moves; allowed is none: widen the clearance, or move the implant"
            )
