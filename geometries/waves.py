"""What rough faces add to and take from the volumes of parts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from geometries.faces import Face
from geometries.frame import Points
from geometries.solids import Geometry, HalfSpace, Part, Piece

STEP_MM, PARTS = 0.4, 12
BESIDE_MM = 1e-4
SHARES = (0.25, 0.75)  # where a stretch of a column is sampled


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

    Every column across the faces is cut where a face or its plane lies. Each stretch goes from the part
    that owns it between planes to the part that owns it between rough faces.
    """
    plane = flattened(geometry)
    gained = np.zeros(len(geometry.parts) + 1)  # the last one is the void
    for x, y, size in _columns(plane, _rough_faces(geometry)):
        levels = [one.at(x, y) for face in _rough_faces(geometry) for one in (face, face.plane)]
        for low, high in pairwise(np.sort(levels, axis=0)):
            for share in SHARES:
                points = np.stack([x, y, low + share * (high - low)], axis=1)
                volumes = (high - low) * size**2 / len(SHARES)
                for shape, sign in ((geometry, 1), (plane, -1)):
                    gained += sign * np.bincount(_owner(shape, points), volumes, len(gained))
    return gained[:-1]


def _owner(geometry: Geometry, points: Points) -> NDArray[np.intp]:
    """Part that owns each point; one past the last where there is none."""
    return geometry.painted(points) % (len(geometry.parts) + 1)


def _columns(plane: Geometry, faces: list[Face]) -> Iterator[tuple[Points, Points, float]]:
    """Middles of squares over the parts that end at rough faces, and their size, mm.

    They are small where such a part borders anything else.
    """
    reach = max((face.reach for face in faces), default=0.0)
    middles = np.arange(-reach + STEP_MM / 2, reach, STEP_MM)
    x, y = np.meshgrid(middles, middles)
    ending = [index for index, part in enumerate(plane.parts) if _ends_at(part, faces)]
    inside, border = np.zeros((2, *x.shape), dtype=bool)
    for face in faces:
        for beside in (-BESIDE_MM, BESIDE_MM):
            points = np.stack([x, y, face.plane.at(x, y) + beside], axis=-1)
            owner = _owner(plane, points.reshape(-1, 3)).reshape(x.shape)
            owner = np.where(np.isin(owner, ending), owner, -1)
            inside |= owner >= 0
            for axis in (0, 1):
                for way in (-1, 1):
                    border |= owner != np.roll(owner, way, axis)
    inside &= ~border
    yield x[inside], y[inside], STEP_MM
    fine = (np.arange(PARTS) + 0.5 - PARTS / 2) * STEP_MM / PARTS
    u, v = (one.ravel() for one in np.meshgrid(fine, fine))
    yield ((x[border][:, None] + u).ravel(), (y[border][:, None] + v).ravel(), STEP_MM / PARTS)


def _ends_at(part: Part, faces: list[Face]) -> bool:
    """Whether the plane of one of the faces cuts a part."""
    planes = {face.plane for face in faces}
    cuts = (cut for piece in part.pieces for cut in piece.cuts)
    return any(isinstance(cut, HalfSpace) and cut.face in planes for cut in cuts)


def _rough_faces(geometry: Geometry) -> list[Face]:
    """Rough faces between different parts; not those that only divide a part into layers."""
    sides: dict[Face, dict[str, set[bool]]] = {}
    for part in geometry.parts:
        for cut in (cut for piece in part.pieces for cut in piece.cuts):
            if isinstance(cut, HalfSpace) and cut.face.waves:
                sides.setdefault(cut.face, {}).setdefault(part.name, set()).add(cut.is_above)
    return [face for face, parts in sides.items() if min(map(len, parts.values())) == 1]
