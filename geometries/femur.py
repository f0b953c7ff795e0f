"""The simplified femur: rings of bone between radii and bone ends, and the cancellous cores."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from geometries.bone import Femur
from geometries.faces import Face
from geometries.parameters import Nail, Stem
from geometries.profiles import (
    DISTAL_CORE,
    PROXIMAL_CORE,
    Profile,
    canal_profile,
    outer_profile,
    reamed,
    reamed_profile,
)
from geometries.rods import BORE_BELOW_NAIL_MM, SAME_MM, axis_at, bore
from geometries.solids import Frustum, HalfSpace, Part, Piece, Tool

FACE_MARGIN_MM = 1.0
LEAST_CORE_MM = 1.0
REACH_STEPS = 20  # each leaves less than half of the error: tilt times flare is under 0.4


def rings(outer: Profile, inner: Profile | None, low: float, high: float) -> tuple[Piece, ...]:
    """Rings between two profiles from one height to another, one a straight stretch of both."""
    profiles = [outer] if inner is None else [outer, inner]
    breaks = {
        z for p in profiles for z in p.heights if low + SAME_MM < z < high - SAME_MM
    }  # fmt: skip
    pieces = []
    for start, end in pairwise([low, *sorted(breaks), high]):
        solids = [_stretch(profile, start, end) for profile in profiles]
        pieces.append(Piece(solids[0], tuple(solids[1:])))
    return tuple(pieces)


def _stretch(profile: Profile, start: float, end: float) -> Frustum:
    """A straight stretch; a cylinder where the radii differ by rounding alone."""
    radius, end_radius = profile.at(start), profile.at(end)
    if abs(end_radius - radius) < SAME_MM:
        end_radius = radius
    return Frustum((0.0, 0.0, start), (0.0, 0.0, end - start), radius, end_radius)


def level_rings(outer: Profile, inner: Profile | None, levels: list[float]) -> tuple[Piece, ...]:
    """Rings over consecutive levels: each level becomes a plane of the mesh."""
    return tuple(piece for low, high in pairwise(levels) for piece in rings(outer, inner, low, high))


def up_to(outer: Profile, inner: Profile | None, levels: list[float], face: Face) -> tuple[Piece, ...]:
    """Rings over rising levels and on up to a face."""
    if face.is_level:
        return level_rings(outer, inner, [*levels, face.height])
    bottom, top = _zone(outer, face)
    whole = level_rings(outer, inner, [*levels, bottom])
    return whole + less(rings(outer, inner, bottom, top), HalfSpace(face, is_above=True))


def down_to(
    outer: Profile, inner: Profile | None, levels: list[float], face: Face
) -> tuple[Piece, ...]:
    """Rings from a face up over rising levels."""
    if face.is_level:
        return level_rings(outer, inner, [face.height, *levels])
    bottom, top = _zone(outer, face)
    cut = less(rings(outer, inner, bottom, top), HalfSpace(face, is_above=False))
    return cut + level_rings(outer, inner, [top, *levels])


def slab(outer: Profile, inner: Profile | None, lower: Face, upper: Face) -> tuple[Piece, ...]:
    """Rings between two faces."""
    if lower.is_level and upper.is_level:
        return rings(outer, inner, lower.height, upper.height)
    bottom, top = _zone(outer, lower)[0], _zone(outer, upper)[1]
    cuts = HalfSpace(upper, is_above=True), HalfSpace(lower, is_above=False)
    return less(rings(outer, inner, bottom, top), *cuts)


def less(pieces: tuple[Piece, ...], *cuts: Tool) -> tuple[Piece, ...]:
    """Pieces with more solids cut out of each."""
    return tuple(Piece(piece.solid, (*piece.cuts, *cuts)) for piece in pieces)


def reached(outer: Profile, face: Face) -> float:
    """Radius within which a face lies in the bone, mm: where it is steep it runs up the flares."""
    radius = outer.at(face.height)
    for _ in range(0 if face.is_level else REACH_STEPS):
        radius = outer.largest(*face.extent(radius))
    return radius


def _zone(outer: Profile, face: Face) -> tuple[float, float]:
    """Heights between which a face crosses the bone, and a little beyond, mm."""
    low, high = face.extent(reached(outer, face))
    return low - FACE_MARGIN_MM, high + FACE_MARGIN_MM


def bone_parts(
    femur: Femur, rod: Nail | Stem | None, ends: tuple[Face, Face], sections: tuple[float, float]
) -> list[Part]:
    """Cortex without the gap, and the cancellous cores of both ends.

    Parameters
    ----------
    femur, rod : Femur, Nail or Stem or None
        Parameters; the rod only for its bore.
    ends : (Face, Face)
        The distal and the proximal bone end.
    sections : (float, float)
        Heights of the reference sections, mm.

    Returns
    -------
    list of Part
        ``cancellous_distal``, ``cancellous_proximal``, the latter not round a stem, and over them
        ``cortex_distal``, ``cortex_proximal``.
    """
    outer, (inner, holes) = outer_profile(femur), reamed(femur, rod)
    length, wall = femur.length_mm, _wall(femur, rod)
    distal = less(up_to(outer, inner, [0.0, sections[0]], ends[0]), *holes)
    proximal = less(down_to(outer, inner, [sections[1], length], ends[1]), *holes)
    return [
        *_cores(femur, rod, ends, sections),
        Part("cortex_distal", "cortex", femur.cortical, distal, wall),
        Part("cortex_proximal", "cortex", femur.cortical, proximal, wall),
    ]


def whole_bone(femur: Femur, sections: tuple[float, float]) -> list[Part]:
    """Bone that no gap divides: both cores, and over them a cortex in one piece.

    Nothing in it tells where a gap would be, so that one mesh serves all gaps.
    """
    levels = [0.0, *sections, femur.length_mm]
    pieces = level_rings(outer_profile(femur), canal_profile(femur), levels)
    cortex = Part("cortex", "cortex", femur.cortical, pieces, _wall(femur, None))
    return [*_cores(femur, None, None, sections), cortex]


def _wall(femur: Femur, rod: Nail | Stem | None) -> float:
    """Thickness of the reamed cortex half-way up, mm."""
    middle = femur.length_mm / 2
    return outer_profile(femur).at(middle) - reamed_profile(femur, rod).at(middle)


def _cores(
    femur: Femur,
    rod: Nail | Stem | None,
    ends: tuple[Face, Face] | None,
    sections: tuple[float, float],
) -> list[Part]:
    """The cancellous cores, cut at the reference sections."""
    parts, canal = [], canal_profile(femur)
    for name, (bottom, top) in core_spans(femur, rod, ends, sections).items():
        levels = [bottom, *(z for z in sections if bottom < z < top), top]
        pieces = tuple(
            piece for low, high in pairwise(levels) for piece in _core(femur, rod, low, high)
        )
        parts.append(Part(name, "cancellous", femur.cancellous, pieces, canal.at(bottom)))
    return parts


def core_spans(
    femur: Femur,
    rod: Nail | Stem | None,
    ends: tuple[Face, Face] | None,
    sections: tuple[float, float],
) -> dict[str, tuple[float, float]]:
    """Heights between which each cancellous core lies, by its part, mm; none that is not there.

    Without bone ends the bone is whole.
    """
    outer, (top, bottom) = outer_profile(femur), _core_ends(femur, rod)
    below, above = top, bottom
    if ends is not None:
        below, above = (
            end.height if end.is_level else _zone(outer, end)[side] for side, end in enumerate(ends)
        )
    spans = {
        "cancellous_distal": (0.0, min(top, below)),
        "cancellous_proximal": (max(bottom, above), femur.length_mm),
    }
    if isinstance(rod, Stem) or bottom > sections[1] - FACE_MARGIN_MM:  # a bed fills it, or nothing
        del spans["cancellous_proximal"]
    if top < sections[0] + FACE_MARGIN_MM:
        del spans["cancellous_distal"]
    return spans


def _core_ends(femur: Femur, rod: Nail | Stem | None) -> tuple[float, float]:
    """Top of the distal and bottom of the proximal cancellous core, mm.

    Where the bore of a nail comes close to the wall of the canal, reaming leaves no core: it would be
    as thin as paper, round an eccentric nail a crescent.
    """
    length, canal = femur.length_mm, canal_profile(femur)
    top, bottom = DISTAL_CORE * length, PROXIMAL_CORE * length
    if not isinstance(rod, Nail):
        return top, bottom
    radius = rod.bore_mm / 2 + LEAST_CORE_MM
    start = rod.distal_end_mm - BORE_BELOW_NAIL_MM
    steps = np.arange(start, length + 1.0, 1.0)
    close = [z for z in steps if np.hypot(*axis_at(rod, z)) + radius > canal.at(z)]
    return min([top, *close]), max([bottom, *close])


def _core(femur: Femur, rod: Nail | Stem | None, low: float, high: float) -> tuple[Piece, ...]:
    """Cancellous bone inside the canal, with the bore of a nail where the nail reaches."""
    canal = canal_profile(femur)
    if not isinstance(rod, Nail):
        return rings(canal, None, low, high)
    if not rod.is_centred:  # the cortex paints over it, up to its own hole
        return less(rings(outer_profile(femur), None, low, high), bore(rod, femur.length_mm))
    radius = rod.bore_mm / 2
    bottom = rod.distal_end_mm - BORE_BELOW_NAIL_MM
    hole = Profile((low, high), (radius, radius))
    if bottom <= low:
        return rings(canal, hole, low, high)
    if bottom >= high:
        return rings(canal, None, low, high)
    return rings(canal, None, low, bottom) + rings(canal, hole, bottom, high)
