"""What rough faces add to and take from the volumes of parts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from geometries.faces import Face
from geometries.frame import Points
from geometries.solids import Geometry, HalfSpace, Piece

STEP_MM, PARTS = 0.2, 12
BESIDE_MM = 1e-4


def flattened(geometry: Geometry) -> Geometry:
    """The geometry with plane faces in place of rough ones; itself where there are none."""
    if not _rough_faces(geometry):
        return geometry

    def plane(piece: Piece) -> Piece:
        cuts = (
            HalfSpace(cut.face.plane, cut.is_above) if isinstance(cut, HalfSpace) else cut
            for cut in piece.cuts
        )
        return Piece(piece.solid, tuple(cuts))

    parts = (replace(part, pieces=tuple(map(plane, part.pieces))) for part in geometry.parts)
    return replace(geometry, parts=tuple(parts))


def moved_by_waves(geometry: Geometry) -> NDArray[np.float64]:
    """What the waves of all rough faces add to the volume of each part (parts,), mm³.

    Over every spot of a face its part below gains the wave's height and the part above loses it.
    """
    plane = flattened(geometry)
    gained = np.zeros(len(geometry.parts) + 1)  # the last one is the void
    for face in _rough_faces(geometry):
        for step, sign in ((-BESIDE_MM, 1), (BESIDE_MM, -1)):
            for x, y, size in _spots(plane, face, step):
                owner = _owner(plane, face, x, y, step)
                waves = (face.at(x, y) - face.plane.at(x, y)) * size**2
                gained += sign * np.bincount(owner, waves, len(gained))
    return gained[:-1]


def _owner(plane: Geometry, face: Face, x: Points, y: Points, step: float) -> NDArray[np.intp]:
    """Part beside a plane face at each spot; one past the last where there is none."""
    owner = plane.painted(np.stack([x, y, face.plane.at(x, y) + step], axis=1))
    return owner % (len(plane.parts) + 1)


def _spots(plane: Geometry, face: Face, step: float) -> Iterator[tuple[Points, Points, float]]:
    """Middles of squares that cover a face, and their size: small ones where parts border, mm."""
    middles = np.arange(-face.reach + STEP_MM / 2, face.reach, STEP_MM)
    x, y = np.meshgrid(middles, middles)
    owner = _owner(plane, face, x.ravel(), y.ravel(), step).reshape(x.shape)
    border = np.zeros(x.shape, dtype=bool)
    for axis in (0, 1):
        for way in (-1, 1):
            border |= owner != np.roll(owner, way, axis)
    yield x[~border], y[~border], STEP_MM
    fine = (np.arange(PARTS) + 0.5 - PARTS / 2) * STEP_MM / PARTS
    u, v = (one.ravel() for one in np.meshgrid(fine, fine))
    yield (
        (x[border][:, None] + u).ravel(),
        (y[border][:, None] + v).ravel(),
        STEP_MM / PARTS,
    )


def _rough_faces(geometry: Geometry) -> list[Face]:
    """Rough faces between different parts; not those that only divide a part into layers."""
    sides: dict[Face, dict[str, set[bool]]] = {}
    for part in geometry.parts:
        for cut in (cut for piece in part.pieces for cut in piece.cuts):
            if isinstance(cut, HalfSpace) and cut.face.waves:
                sides.setdefault(cut.face, {}).setdefault(part.name, set()).add(cut.is_above)
    return [face for face, parts in sides.items() if min(map(len, parts.values())) == 1]
