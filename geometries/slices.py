"""Cross-sections of a construct's parts: areas and their moments along the shaft, from solids alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import hypot, pi, sqrt

import numpy as np

from geometries.faces import Face
from geometries.solids import Frustum, HalfSpace, Loft, Part, Piece, Points, Prism, Solid, Tool

SPOTS = 12_000
STEP_MM = 12.0
LEAST_MM = 1e-6
GOLDEN_ANGLE = pi * (3 - sqrt(5))


@dataclass(frozen=True)
class Slices:
    """Cross-sections at heights whose weighted sum is an integral along the shaft.

    Parameters
    ----------
    heights, weights : Points
        Gauss points (n,) and their share of the length, mm.
    moments : Points
        Integrals over each part's section (n, parts, 3, 3) of (1, x, y) times (1, x, y): area, mm²,
        first moments, mm³, and second moments, mm⁴.
    """

    heights: Points
    weights: Points
    moments: Points


@lru_cache(maxsize=2)
def slices(parts: tuple[Part, ...], low: float, high: float) -> Slices:
    """Cut parts across the shaft between two heights; later parts paint over earlier ones.

    Two Gauss points lie between any two heights at which a solid begins, bends or ends. Each section
    is summed over spots of equal area along a spiral that turns by the golden angle (Vogel 1979, Math
    Biosci 44:179, as quoted): even round the axis, where a grid would favour a direction.

    Parameters
    ----------
    parts : tuple of Part
        As in a geometry.
    low, high : float
        Heights, mm.
    """
    breaks = sorted({low, high, *(z for z in _breaks(parts) if low < z < high)})
    heights, weights, moments = [], [], []
    for start, end in pairwise(breaks):
        if end - start < LEAST_MM:
            continue
        count = int((end - start) // STEP_MM) + 1
        edges = np.linspace(start, end, count + 1)
        half = (end - start) / count / 2
        middles = (edges[:-1] + edges[1:]) / 2
        own = np.concatenate([middles - half / sqrt(3), middles + half / sqrt(3)])
        heights.append(own)
        weights.append(np.full(len(own), half))
        moments.append(_moments(parts, start, end, own))
    return Slices(np.concatenate(heights), np.concatenate(weights), np.concatenate(moments))


def _moments(parts: tuple[Part, ...], low: float, high: float, heights: Points) -> Points:
    """Moments (n, parts, 3, 3) of the sections at heights between two others."""
    present = [
        (index, piece)
        for index, part in enumerate(parts)
        for piece in part.pieces
        if _span(piece.solid)[0] < high and _span(piece.solid)[1] > low
    ]
    found = np.zeros((len(heights), len(parts), 3, 3))
    if not present:
        return found
    reach = max(_reach(piece.solid) for _, piece in present)
    order = np.arange(SPOTS) + 0.5
    radius = reach * np.sqrt(order / SPOTS)
    for found_here, z in zip(found, heights, strict=True):
        turn = GOLDEN_ANGLE * order + z  # other spots at every height, so that errors even out
        spots = np.stack([np.ones(SPOTS), radius * np.cos(turn), radius * np.sin(turn)], axis=1)
        owner = _owner(present, np.column_stack([spots[:, 1:], np.full(SPOTS, z)]))
        for index in np.unique(owner[owner >= 0]):
            own = spots[owner == index]
            found_here[index] = own.T @ own * (pi * reach**2 / SPOTS)
    return found


def _owner(present: list[tuple[int, Piece]], points: Points) -> Points:
    owner = np.full(len(points), -1)
    for index, piece in present:
        owner[piece.contains(points)] = index
    return owner


def _breaks(parts: tuple[Part, ...]) -> Iterator[float]:
    """Heights at which a solid or what is cut out of it begins, bends or ends."""
    for part in parts:
        for piece in part.pieces:
            yield from _span(piece.solid)
            if isinstance(piece.solid, Prism):
                yield from (z for _, z in piece.solid.outline)
            for cut in piece.cuts:
                yield from _ends(cut, _reach(piece.solid))


def _ends(cut: Tool, reach: float) -> tuple[float, ...]:
    if isinstance(cut, HalfSpace):
        return _extent(cut.face, reach)
    if isinstance(cut, Loft):
        return tuple(circle[2] for circle in cut.circles)
    if isinstance(cut, Frustum | Prism):
        return _span(cut)
    return cut.low, cut.high


def _extent(face: Face, reach: float) -> tuple[float, ...]:
    low, high = face.extent(reach)
    return low, face.height, high


def _span(solid: Solid) -> tuple[float, float]:
    """Heights between which a solid lies, mm."""
    if isinstance(solid, Prism):
        levels = [z for _, z in solid.outline]
        return min(levels), max(levels)
    lean = hypot(*solid.axis[:2]) / solid.height
    start, end = solid.base[2], solid.base[2] + solid.axis[2]
    rims = [(start, solid.radius * lean), (end, solid.end_radius * lean)]
    return min(z - rise for z, rise in rims), max(z + rise for z, rise in rims)


def _reach(solid: Solid) -> float:
    """Distance from the shaft axis beyond which nothing of a solid lies, mm."""
    if isinstance(solid, Prism):
        start, lean = solid.aside
        return max(hypot(r, abs(start + lean * z) + solid.width / 2) for r, z in solid.outline)
    (x, y, _), (u, v, _) = solid.base, solid.axis
    return max(hypot(x, y) + solid.radius, hypot(x + u, y + v) + solid.end_radius)
