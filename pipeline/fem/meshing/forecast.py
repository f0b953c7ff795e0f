"""How many unknowns a geometry will have, before it is meshed."""

from __future__ import annotations

from math import pi

import numpy as np

from geometries.solids import Frustum, Geometry, Part, Piece
from pipeline.fem.meshing.sizes import LEVELS, Level, Sizes

# Unknowns for each cell size's square of surface and cube of volume. Measured on the first 110 random
# constructs of `make campaign`, coarse: their median; 8 of 10 lie within 0.6 and 1.35 times it.
UNKNOWNS_PER_CELL = 30


def expected_unknowns(geometry: Geometry, level: Level) -> int:
    """Displacement components that a mesh will have; rough, within a factor of two.

    Every part needs cells for its volume, by its wall, and for its round surfaces, by their radius.
    """
    cells = sum(
        _cells(geometry, part, piece, LEVELS[level]) for part in geometry.parts for piece in part.pieces
    )
    return round(UNKNOWNS_PER_CELL * cells)


def _cells(geometry: Geometry, part: Part, piece: Piece, sizes: Sizes) -> float:
    edge, solid = sizes.of(part), piece.solid
    if not isinstance(solid, Frustum):
        return solid.volume / edge**3 + 2 * solid.volume / part.wall / edge**2
    outer = (solid.radius + solid.end_radius) / 2
    inner = min(outer, max((_bore(cut) for cut in piece.cuts if isinstance(cut, Frustum)), default=0.0))
    length = float(np.linalg.norm(solid.axis))
    length_on = sizes.rod if _is_along(solid) else sizes.round
    around = min(edge, length_on(outer, geometry.clearance_at(solid.radius)))
    volume, surface = pi * (outer**2 - inner**2) * length, 2 * pi * (outer + inner) * length
    return volume / edge**3 + surface / around**2


def _bore(cut: Frustum) -> float:
    """Radius of a hole along the shaft, mm; 0 of one across it."""
    return (cut.radius + cut.end_radius) / 2 if _is_along(cut) else 0.0


def _is_along(solid: Frustum) -> bool:
    """Whether a round solid runs along the shaft."""
    return abs(solid.axis[2]) > 0.9 * float(np.linalg.norm(solid.axis))
