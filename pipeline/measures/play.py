"""How far the bone ends move freely, and how stiff a construct is where it already bears.

Both come from states near a load: a small share of it either way, and the load a little larger and a
little smaller.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geometries.readout import GapFrame
from geometries.solids import Geometry
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.motion import Motion, apart, face_motion
from pipeline.measures.stiffness import section_stiffness

SMALL_SHARE = 0.01  # of a load: the free play lies between plus and minus this
NEARBY = {"plus": SMALL_SHARE, "minus": -SMALL_SHARE, "more": 1 + SMALL_SHARE, "less": 1 - SMALL_SHARE}
AXES = ("medial_axis", "anterior_axis", "shaft")
TANGENT = "_tangent"


@dataclass(frozen=True)
class Ends:
    """Motions of the bone ends and of the reference sections in the columns of a stage."""

    frame: GapFrame
    gap: tuple[Motion, Motion]
    sections: tuple[Motion, Motion]

    @classmethod
    def of(cls, mesh: Mesh, geometry: Geometry, displacement: Array) -> Ends | None:
        """Read them from displacements (n, 3, columns); None for a construct without gap."""
        if geometry.gap is None:
            return None
        read = [
            face_motion(mesh, name, displacement)
            for name in (
                "gap_distal_face", "gap_proximal_face", "distal_section", "proximal_section",
            )
        ]  # fmt: skip
        return cls(geometry.gap, (read[0], read[1]), (read[2], read[3]))

    def movement(self, shares: Array, place: str) -> Array:
        """Movement (3,) of the proximal bone end against the distal one at a read-out point, mm."""
        point = np.array([self.frame.points()[place]])
        return np.asarray(apart(*self.gap, point, shares)[0])

    def rotation(self, shares: Array) -> Array:
        """Rotation (3,) of the proximal bone end against the distal one, degrees."""
        distal, proximal = self.gap
        return np.asarray(np.degrees((proximal.rotation - distal.rotation) @ shares))

    def play(self, near: dict[str, Array]) -> Iterator[Measure]:
        """Free play between a small load and its opposite, from their shares of the columns."""
        for place in self.frame.points():
            moved = self.movement(near["plus"], place) - self.movement(near["minus"], place)
            yield Measure("free_movement", place, float(np.linalg.norm(moved)))
        turned = self.rotation(near["plus"]) - self.rotation(near["minus"])
        for axis, angle in zip(AXES, turned, strict=True):
            yield Measure("free_rotation", axis, float(abs(angle)))

    def tangent(self, load: Array, near: dict[str, Array]) -> Iterator[Measure]:
        """Stiffness against a little more of the load."""
        step = (NEARBY["more"] - NEARBY["less"]) * load
        change = near["more"] - near["less"]
        for one in section_stiffness(*self.sections, step, change):
            yield Measure(one.quantity + TANGENT, one.location, one.value)
