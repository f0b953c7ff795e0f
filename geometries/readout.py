"""Where results are read: bolts and screws as pins, nail and plate as beams, the gap's frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geometries.bow import Bow
from geometries.faces import Face
from geometries.frame import Points, Vector, radial


@dataclass(frozen=True)
class Pin:
    """A bolt or screw as a beam across the shaft: where its forces are read.

    Parameters
    ----------
    name : str
        Its part.
    foot : Vector
        Point of its axis nearest to the shaft axis, mm.
    axis : Vector
        Unit vector along its axis, from tip to head.
    diameter : float
        Diameter, mm.
    planes : dict
        Distance along the axis from the foot of each cut across the pin, mm, negative on the far side.
    """

    name: str
    foot: Vector
    axis: Vector
    diameter: float
    planes: dict[str, float]


@dataclass(frozen=True)
class Beam:
    """A nail or plate as a beam along the shaft: what a nominal stress needs.

    Parameters
    ----------
    part : str
        Its part.
    area : float
        Cross-section, mm².
    axes : tuple of two (float, float)
        The two principal axes across the shaft (x, y).
    moduli : (float, float)
        Section moduli about them, mm³.
    is_round : bool
        Whether bending about both adds as a vector, as in a tube.
    foot : (float, float) or None
        Where its own axis passes the level of the gap, from the shaft axis, mm; None is read off the
        mesh.
    """

    part: str
    area: float
    axes: tuple[tuple[float, float], tuple[float, float]]
    moduli: tuple[float, float]
    is_round: bool
    foot: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Rim:
    """Places round the gap on the bone's surface.

    Parameters
    ----------
    azimuths : Points
        Degrees (k,).
    places : Points
        Half-way between the bone ends (k, 3), mm.
    lengths : Points
        Local distance of the bone ends along the normal (k,), mm.
    """

    azimuths: Points
    places: Points
    lengths: Points


@dataclass(frozen=True, eq=False)
class Cut:
    """Places of a section through whole bone, where no face of a mesh lies.

    Parameters
    ----------
    places : Points
        In the bent bone (p, 3), mm.
    weights : Points
        Area that each stands for (p,), mm².
    """

    places: Points
    weights: Points


@dataclass(frozen=True)
class GapFrame:
    """Where gap movement is read.

    Parameters
    ----------
    lower, upper : Face
        The distal and the proximal bone end.
    radius : float
        Periosteal radius at the middle of the gap, mm.
    near_azimuth_deg : float
        Side of the near cortex, degrees.
    bow : Bow, optional
        How the bone is bent after all this.
    """

    lower: Face
    upper: Face
    radius: float
    near_azimuth_deg: float
    bow: Bow | None = None

    @property
    def middle(self) -> Face:
        """The face half-way between the bone ends."""
        return self.lower.towards(self.upper, 0.5)

    @property
    def height(self) -> float:
        """Height of the middle of the gap on the shaft axis, mm."""
        return self.centre[2]

    @property
    def centre(self) -> Vector:
        """Middle of the gap on the shaft axis, mm."""
        return self._placed((0.0, 0.0, self.middle.height))

    def _placed(self, point: Vector) -> Vector:
        if self.bow is None:
            return point
        x, y, z = self.bow.place(point).tolist()
        return (x, y, z)

    @property
    def length(self) -> float:
        """Distance between the bone ends along the shaft axis, mm."""
        return self.upper.height - self.lower.height

    @property
    def plane(self) -> Face:
        """The fracture plane: through the centre, in the bent bone."""
        return Face.through(self.centre, self.normal)

    @property
    def normal(self) -> Vector:
        """Unit normal of the fracture plane, pointing proximally."""
        straight, middle = self.middle.normal, self.middle.height
        return straight if self.bow is None else self.bow.turn(straight, middle)

    def points(self) -> dict[str, Vector]:
        """Read-out points half-way between the ends: near and far cortex at the surface, and centre."""
        return {
            name: self._placed((x, y, float(self.middle.at(x, y))))
            for name, (x, y) in self._spots().items()
        }

    def lengths(self) -> dict[str, float]:
        """Local distance of the bone ends at each read-out point, along the normal, mm."""
        return {name: float(self._apart(x, y)) for name, (x, y) in self._spots().items()}

    def _apart(self, x: Points | float, y: Points | float) -> Points:
        stretch = 0.0 if self.bow is None else 1 / self.bow.radius
        return (self.upper.at(x, y) - self.lower.at(x, y)) * self.middle.normal[2] * (1 + stretch * y)

    @cached_property
    def rim(self) -> Rim:
        """The surface of the bone all round the middle of the gap, a degree at a time."""
        azimuths = np.arange(-180.0, 180.0)
        x, y, _ = self.radius * np.array([radial(azimuth) for azimuth in azimuths]).T
        straight = np.stack([x, y, self.middle.at(x, y)], axis=1)
        places = straight if self.bow is None else self.bow.place(straight)
        return Rim(azimuths, places, self._apart(x, y))

    def _spots(self) -> dict[str, tuple[float, float]]:
        """Where the read-out points lie across the straight shaft, mm."""
        x, y, _ = radial(self.near_azimuth_deg)
        sides = {"near": self.radius, "far": -self.radius, "centre": 0.0}
        return {name: (out * x, out * y) for name, out in sides.items()}
