"""Solids as pure data: what a part is made of, before any mesher sees it.

Lengths in mm, in the frame of `frame.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, pi
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from geometries.bow import Bow
from geometries.frame import Points as Points
from geometries.frame import Vector as Vector
from geometries.frame import radial as radial
from geometries.readout import Beam, Cut, GapFrame, Pin
from geometries.stops import Stop
from geometries.tools import HalfSpace as HalfSpace
from geometries.tools import Loft as Loft
from geometries.tools import Sector as Sector

Role = Literal[
    "cortex", "cancellous", "gap", "inner", "cuff", "canal", "pad", "nail", "stem", "plate", "bolt",
    "screw",
]  # fmt: skip

TISSUE_ROLES: tuple[Role, ...] = ("gap", "inner", "cuff")
BONE_ENDS = {"gap_distal_face": "distal", "gap_proximal_face": "proximal"}
"""What the faces of the two bone ends are called, or the cuts through whole bone in their place."""
IMPLANT_ROLES: tuple[Role, ...] = ("nail", "stem", "plate", "bolt", "screw")


@dataclass(frozen=True)
class Frustum:
    """A solid cone frustum; a cylinder where both radii are equal.

    Parameters
    ----------
    base, axis : Vector
        Centre of the first end and vector to the centre of the other, mm.
    radius, end_radius : float
        Radii at the two ends, mm.
    """

    base: Vector
    axis: Vector
    radius: float
    end_radius: float

    @property
    def height(self) -> float:
        """Distance between the end faces, mm."""
        return float(np.linalg.norm(self.axis))

    @property
    def volume(self) -> float:
        """Exact volume, mm³."""
        return (
            pi / 3 * self.height * (self.radius**2 + self.radius * self.end_radius + self.end_radius**2)
        )

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie inside."""
        direction = np.asarray(self.axis) / self.height
        offset = points - np.asarray(self.base)
        along = offset @ direction
        across = np.linalg.norm(offset - along[:, None] * direction, axis=1)
        limit = self.radius + (self.end_radius - self.radius) * along / self.height
        return (along >= 0) & (along <= self.height) & (across <= limit)


@dataclass(frozen=True)
class Prism:
    """A polygon in a plane through the shaft axis, extruded to both sides of that plane.

    Parameters
    ----------
    outline : tuple of (float, float)
        Corners in order: distance from the shaft axis and height z, mm.
    azimuth_deg : float
        Side of the bone on which the plane's positive half lies, degrees.
    width : float
        Full extrusion width, mm.
    aside : (float, float)
        How far its middle lies beside that plane, along `sweep`: at z = 0, mm, and how much further
        per mm of height.
    """

    outline: tuple[tuple[float, float], ...]
    azimuth_deg: float
    width: float
    aside: tuple[float, float] = (0.0, 0.0)

    @property
    def volume(self) -> float:
        """Exact volume, mm³ (shoelace formula times width)."""
        x, z = np.asarray(self.outline).T
        return float(abs(np.dot(x, np.roll(z, -1)) - np.dot(z, np.roll(x, -1))) / 2 * self.width)

    def corners(self) -> list[Vector]:
        """Corners of the face from which the solid is extruded along `sweep`, mm."""
        out, sweep = np.asarray(radial(self.azimuth_deg)), np.asarray(self.sweep)
        up = np.array([0.0, 0.0, 1.0])
        start, lean = self.aside
        return [
            tuple((r * out + z * up + ((start + lean * z) / self.width - 0.5) * sweep).tolist())
            for r, z in self.outline
        ]

    @property
    def sweep(self) -> Vector:
        """Extrusion vector, mm."""
        x, y, _ = radial(self.azimuth_deg)
        return (-y * self.width, x * self.width, 0.0)

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie inside (even-odd rule on the outline)."""
        r = points @ np.asarray(radial(self.azimuth_deg))
        z = points[:, 2]
        across = points @ (np.asarray(self.sweep) / self.width) - self.aside[0] - self.aside[1] * z
        inside = np.zeros(len(points), dtype=bool)
        for (r0, z0), (r1, z1) in zip(self.outline, self.outline[1:] + self.outline[:1], strict=True):
            if z0 != z1:
                crosses = (z0 > z) != (z1 > z)
                inside ^= crosses & (r < r0 + (z - z0) / (z1 - z0) * (r1 - r0))
        return inside & (np.abs(across) <= self.width / 2)


Solid = Frustum | Prism
Tool = Solid | HalfSpace | Sector | Loft


def cylinder(base: Vector, axis: Vector, diameter: float) -> Frustum:
    """A round bar of one diameter, mm."""
    return Frustum(base, axis, diameter / 2, diameter / 2)


@dataclass(frozen=True)
class Piece:
    """One solid less the solids cut out of it. Pieces of a part touch but never overlap."""

    solid: Solid
    cuts: tuple[Tool, ...] = ()

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie inside."""
        inside = self.solid.contains(points)
        for cut in self.cuts:
            inside &= ~cut.contains(points)
        return inside


@dataclass(frozen=True)
class Part:
    """A body of one material.

    Parameters
    ----------
    name : str
        Unique name, for example ``bolt_2``.
    role : Role
        What it is in the construct.
    material : str
        Key of the material table.
    pieces : tuple of Piece
        Its solids; faces between pieces are faces of the mesh too.
    wall : float
        Thickness that the mesh must resolve, mm.
    """

    name: str
    role: Role
    material: str
    pieces: tuple[Piece, ...]
    wall: float

    def contains(self, points: Points) -> NDArray[np.bool_]:
        """Which of the points (n, 3) lie inside."""
        return np.logical_or.reduce([piece.contains(points) for piece in self.pieces])


@dataclass(frozen=True)
class Patch:
    """Faces of the mesh that lie in the plane z = height and belong to parts of the given roles."""

    name: str
    height: float
    roles: tuple[Role, ...]


@dataclass(frozen=True)
class Contact:
    """Faces of the mesh that two parts share, seen from the first."""

    name: str
    part: str
    other: str


@dataclass(frozen=True)
class Geometry:
    """A construct ready for meshing: ordered parts, later ones paint over earlier ones.

    Parameters
    ----------
    parts : tuple of Part
        All bodies.
    patches : tuple of Patch or Contact
        Named faces for supports, loads and measures.
    length : float
        Total length along z before bending, mm.
    sections : (float, float)
        Heights of the distal and proximal reference sections, mm.
    gap : GapFrame or None
        Where gap movement is read, if there is a gap.
    facts : dict
        Numbers that a surgeon would ask for, by name with unit, for print.
    loose : str
        A sentence if nothing but tissue joins the two fragments, else empty.
    void : (float, float, float) or None
        Radii between which round surfaces face each other across a narrow void, and its width, mm.
    pins : tuple of Pin
        Bolts and screws.
    beams : tuple of Beam
        Nail and plate.
    stops : tuple of Stop
        Where surfaces can touch.
    apart : tuple of (str, str)
        Parts that lie face to face in the mesh and share no node: the first takes nodes of its own.
    bow : Bow, optional
        How the mesh is bent; parts, patches and sections are straight, all that is read is not.
    cuts : mapping of str to Cut
        Where bone ends would lie in whole bone, by the names of their faces; none where there are any.
    """

    parts: tuple[Part, ...]
    patches: tuple[Patch | Contact, ...]
    length: float
    sections: tuple[float, float]
    gap: GapFrame | None
    facts: dict[str, float]
    loose: str = ""
    void: tuple[float, float, float] | None = None
    pins: tuple[Pin, ...] = ()
    beams: tuple[Beam, ...] = ()
    stops: tuple[Stop, ...] = ()
    apart: tuple[tuple[str, str], ...] = ()
    bow: Bow | None = None
    cuts: Mapping[str, Cut] = field(default_factory=dict)

    @property
    def top(self) -> Points:
        """Middle of the proximal end (3,), mm, after bending."""
        return np.array([0.0, 0.0, self.length if self.bow is None else self.bow.chord])

    def clearance_at(self, radius: float) -> float:
        """Width of the void beside a round surface of this radius, mm; infinite away from it."""
        if self.void is None or not self.void[0] - 0.01 < radius < self.void[1] + 0.01:
            return inf
        return self.void[2]

    def painted(self, points: Points) -> NDArray[np.intp]:
        """Index of the part that owns each point (n, 3); -1 where there is none."""
        owner = np.full(len(points), -1)
        for index, part in enumerate(self.parts):
            owner[part.contains(points)] = index
        return owner
