"""The simplified femur: radii along the shaft and the rings of bone between them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometries.bone import Femur
from geometries.faces import Face
from geometries.parameters import Nail, Stem
from geometries.rods import BORE_BELOW_NAIL_MM, PLUG_MM, SAME_MM, axis_at, bore, is_centred
from geometries.solids import Frustum, HalfSpace, Loft, Part, Piece, Tool

# Shares of the femur's length, from memory: the tubular shaft and the tops of the cancellous cores.
SHAFT = (0.40, 0.72)
DISTAL_CORE, PROXIMAL_CORE = 0.20, 0.85
DISTAL_LEVEL = 0.25
END_CORTEX_MM = 2.0
FACE_MARGIN_MM = 1.0
LEAST_CORE_MM = 1.0
REACH_STEPS = 20  # each leaves less than half of the error: tilt times flare is under 0.4
HOLE_STEP_MM = 40.0


@dataclass(frozen=True)
class Profile:
    """A radius given at heights, linear between them (both mm)."""

    heights: tuple[float, ...]
    radii: tuple[float, ...]

    def at(self, z: float) -> float:
        """Radius at a height, mm."""
        return float(np.interp(z, self.heights, self.radii))

    def largest(self, low: float, high: float) -> float:
        """Largest radius between two heights, mm."""
        inside = [r for z, r in zip(self.heights, self.radii, strict=True) if low < z < high]
        return max([self.at(low), self.at(high), *inside])


def outer_profile(femur: Femur) -> Profile:
    """Periosteal radius along the shaft."""
    length, shaft = femur.length_mm, femur.shaft_diameter_mm / 2
    slope = (femur.distal_diameter_mm / 2 - shaft) / ((SHAFT[0] - DISTAL_LEVEL) * length)
    return Profile(
        (0.0, SHAFT[0] * length, SHAFT[1] * length, length),
        (shaft + slope * SHAFT[0] * length, shaft, shaft, femur.proximal_diameter_mm / 2),
    )


def canal_profile(femur: Femur) -> Profile:
    """Endosteal radius along the shaft before reaming."""
    length, outer = femur.length_mm, outer_profile(femur)
    isthmus = femur.canal_diameter_mm / 2
    at_level = femur.distal_diameter_mm / 2 - femur.distal_cortex_mm
    core = isthmus + (at_level - isthmus) * (SHAFT[0] - DISTAL_CORE) / (SHAFT[0] - DISTAL_LEVEL)
    core = min(core, outer.at(DISTAL_CORE * length) - END_CORTEX_MM)
    return Profile(
        (0.0, DISTAL_CORE * length, SHAFT[0] * length, SHAFT[1] * length, length),
        (
            outer.at(0.0) - END_CORTEX_MM,
            core,
            isthmus,
            isthmus,
            outer.at(length) - END_CORTEX_MM,
        ),
    )


def reamed_profile(femur: Femur, rod: Nail | Stem | None) -> Profile:
    """Endosteal radius after reaming: the larger of canal and bore at every height.

    The bore of an eccentric nail is not round about the shaft axis and not in it; see `reamed`.
    """
    canal = canal_profile(femur)
    if rod is None or (isinstance(rod, Nail) and not is_centred(rod)):
        return canal
    if isinstance(rod, Nail):
        radius = (rod.diameter_mm + rod.reaming_mm) / 2
        return widest(canal, Profile((0.0, femur.length_mm), (radius, radius)))
    return widest(canal, stem_bed(rod, femur.length_mm))


def stem_bed(stem: Stem, length: float) -> Profile:
    """What is reamed for a stem: its own cone and the mantle, rounded off below the tip."""
    tip = length - stem.length_mm - PLUG_MM
    radius, end = stem.tip_diameter_mm / 2 + stem.mantle_mm, stem.top_diameter_mm / 2 + stem.mantle_mm
    return Profile((0.0, tip - PLUG_MM, tip, tip + PLUG_MM, length), (0.0, 0.0, radius, radius, end))


def widest(one: Profile, other: Profile) -> Profile:
    """The larger of two radii at every height."""
    found: list[float] = []
    for low, high in pairwise(sorted({*one.heights, *other.heights})):
        found.append(low)
        start, end = one.at(low) - other.at(low), one.at(high) - other.at(high)
        if start * end < 0:
            found.append(low + start / (start - end) * (high - low))
    heights = (*found, one.heights[-1])
    return Profile(heights, tuple(max(one.at(z), other.at(z)) for z in heights))


@dataclass(frozen=True)
class Walls:
    """Radii of the bone's surface and of its reamed canal, and clearance round what stands in it."""

    outer: Profile
    inner: Profile
    reamed: float


def walls(femur: Femur, rod: Nail | Stem | None) -> Walls:
    """Radii of the bone with what stands in it."""
    reamed = 0.0
    if rod is not None:
        reamed = rod.reaming_mm / 2 if isinstance(rod, Nail) else rod.mantle_mm
    return Walls(outer_profile(femur), reamed_profile(femur, rod), reamed)


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


def reamed(femur: Femur, rod: Nail | Stem | None) -> tuple[Profile | None, tuple[Tool, ...]]:
    """The reamed canal: a radius about the shaft axis, or a hole that follows a nail beside it."""
    if isinstance(rod, Nail) and not is_centred(rod):
        return None, (eccentric_hole(femur, rod),)
    return reamed_profile(femur, rod), ()


def eccentric_hole(femur: Femur, nail: Nail) -> Loft:
    """The least round hole that holds both the canal and the bore of an eccentric nail.

    The least circle round two circles, radii a and b and d apart, has radius (a + b + d) / 2, unless
    one holds the other. Between heights it is interpolated, which never cuts into either: weighted
    means of circles hold the weighted means of what each holds. The cusps between the two go with it.
    """
    canal, low = canal_profile(femur), nail.distal_end_mm
    radius = (nail.diameter_mm + nail.reaming_mm) / 2
    start = low - BORE_BELOW_NAIL_MM
    between = np.arange(low, femur.length_mm, HOLE_STEP_MM).tolist()
    heights = sorted({*canal.heights, start, *between})
    circles = []
    for z in heights:
        a, (x, y) = canal.at(z), axis_at(nail, z)
        d = float(np.hypot(x, y))
        if z <= start or d + radius <= a:
            circles.append((0.0, 0.0, z, a))
        elif d + a <= radius:
            circles.append((x, y, z, radius))
        else:
            both = (a + radius + d) / 2
            share = (both - a) / d
            circles.append((share * x, share * y, z, both))
    return Loft(tuple(circles))


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
    length = femur.length_mm
    outer, (inner, holes) = outer_profile(femur), reamed(femur, rod)
    canal = canal_profile(femur)
    wall = outer.at(length / 2) - reamed_profile(femur, rod).at(length / 2)
    distal = less(up_to(outer, inner, [0.0, sections[0]], ends[0]), *holes)
    proximal = less(down_to(outer, inner, [sections[1], length], ends[1]), *holes)
    below, above = (
        end.height if end.is_level else _zone(outer, end)[side] for side, end in enumerate(ends)
    )
    top, bottom = _core_ends(femur, rod)
    cores = {
        "cancellous_distal": [0.0, sections[0], min(top, below)],
        "cancellous_proximal": [max(bottom, above), sections[1], length],
    }
    if isinstance(rod, Stem) or bottom > sections[1] - FACE_MARGIN_MM:  # a bed fills it, or nothing
        del cores["cancellous_proximal"]
    if top < sections[0] + FACE_MARGIN_MM:
        del cores["cancellous_distal"]
    parts = []
    for name, levels in cores.items():
        pieces = tuple(
            piece for low, high in pairwise(levels) for piece in _core(femur, rod, low, high)
        )
        parts.append(Part(name, "cancellous", femur.cancellous, pieces, canal.at(levels[0])))
    return [
        *parts,
        Part("cortex_distal", "cortex", femur.cortical, distal, wall),
        Part("cortex_proximal", "cortex", femur.cortical, proximal, wall),
    ]


def _core_ends(femur: Femur, rod: Nail | Stem | None) -> tuple[float, float]:
    """Top of the distal and bottom of the proximal cancellous core, mm.

    Where the bore of an eccentric nail comes close to the wall of the canal, reaming leaves no core: it
    would be a crescent with edges as thin as paper.
    """
    length, canal = femur.length_mm, canal_profile(femur)
    top, bottom = DISTAL_CORE * length, PROXIMAL_CORE * length
    if not isinstance(rod, Nail) or is_centred(rod):
        return top, bottom
    radius = (rod.diameter_mm + rod.reaming_mm) / 2 + LEAST_CORE_MM
    start = rod.distal_end_mm - BORE_BELOW_NAIL_MM
    steps = np.arange(start, length + 1.0, 1.0)
    close = [z for z in steps if np.hypot(*axis_at(rod, z)) + radius > canal.at(z)]
    return min([top, *close]), max([bottom, *close])


def _core(femur: Femur, rod: Nail | Stem | None, low: float, high: float) -> tuple[Piece, ...]:
    """Cancellous bone inside the canal, with the bore of a nail where the nail reaches."""
    canal = canal_profile(femur)
    if not isinstance(rod, Nail):
        return rings(canal, None, low, high)
    if not is_centred(rod):  # the cortex paints over it, up to its own hole
        return less(rings(outer_profile(femur), None, low, high), bore(rod, femur.length_mm))
    radius = (rod.diameter_mm + rod.reaming_mm) / 2
    bottom = rod.distal_end_mm - BORE_BELOW_NAIL_MM
    hole = Profile((low, high), (radius, radius))
    if bottom <= low:
        return rings(canal, hole, low, high)
    if bottom >= high:
        return rings(canal, None, low, high)
    return rings(canal, None, low, bottom) + rings(canal, hole, bottom, high)
