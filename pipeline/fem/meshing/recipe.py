"""How a geometry is meshed, and how else after that has failed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from pipeline.errors import MeshError
from pipeline.fem.meshing.sizes import SHRINK, Sizes

FRONTAL, DELAUNAY = 6, 5  # gmsh's numbers of its ways to mesh a surface
NAMES = {FRONTAL: "frontal", DELAUNAY: "Delaunay"}
SEAM_RAD = 0.65
PART_CLOSER, ROUND_CLOSER = 0.7, 0.85


class Way(NamedTuple):
    """How surfaces are meshed: the angle of the seams of round ones, radians, and gmsh's algorithm."""

    seam: float
    algorithm: int


# Bolts and slots may meet the seams of round surfaces, and the frontal way then leaves holes in them.
WAYS = (Way(0.0, FRONTAL), Way(SEAM_RAD, DELAUNAY))


@dataclass(frozen=True)
class Recipe:
    """One way to mesh a geometry.

    Attributes
    ----------
    sizes : Sizes
        Edge lengths.
    closer : mapping of str or float to float
        Parts, and all surfaces of a radius in mm: the share of these edge lengths there.
    turns, finer : int
        How often the way of meshing surfaces was changed, and all edges made shorter.
    """

    sizes: Sizes
    closer: Mapping[str | float, float] = field(default_factory=dict)
    turns: int = 0
    finer: int = 0

    @property
    def way(self) -> Way:
        """How surfaces are meshed."""
        return WAYS[self.turns % len(WAYS)]

    def after(self, error: MeshError) -> Recipe:
        """The next to try: shorter edges at the places of an error, or all over; surfaces otherwise."""
        closer = dict(self.closer)
        for place in error.places:
            share = PART_CLOSER if isinstance(place, str) else ROUND_CLOSER
            closer[place] = closer.get(place, 1.0) * share
        is_of_a_part = any(isinstance(place, str) for place in error.places)
        return Recipe(
            sizes=self.sizes if error.places else self.sizes.finer(),
            closer=closer,
            turns=self.turns + (not is_of_a_part),
            finer=self.finer + (not error.places),
        )

    def __str__(self) -> str:
        """In words."""
        seams = f", seams at {np.degrees(self.way.seam):.0f} deg" if self.way.seam else ""
        said = [f"{NAMES[self.way.algorithm]} surfaces{seams}"]
        if self.finer:
            said.append(f"edges at {SHRINK**self.finer:.2f} of their length")
        for place, share in self.closer.items():
            where = f"in {place}" if isinstance(place, str) else f"on surfaces of radius {place:g} mm"
            said.append(f"at {share:.2f} {where}")
        return "; ".join(said)
