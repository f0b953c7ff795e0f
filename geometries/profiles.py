"""Radii along the shaft: the bone's surface, its canal, and what reaming makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometries.bone import Femur
from geometries.parameters import Nail, Stem
from geometries.rods import BORE_BELOW_NAIL_MM, PLUG_MM, axis_at
from geometries.solids import Loft, Tool

# Shares of the femur's length, from memory: the tubular shaft and the tops of the cancellous cores.
SHAFT = (0.40, 0.72)
DISTAL_CORE, PROXIMAL_CORE = 0.20, 0.85
DISTAL_LEVEL = 0.25
END_CORTEX_MM = 2.0
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
        (outer.at(0.0) - END_CORTEX_MM, core, isthmus, isthmus, outer.at(length) - END_CORTEX_MM),
    )


def reamed_profile(femur: Femur, rod: Nail | Stem | None) -> Profile:
    """Endosteal radius after reaming: the larger of canal and bore at every height.

    The bore of an eccentric nail is not round about the shaft axis and not in it; see `reamed`.
    """
    canal = canal_profile(femur)
    if rod is None or (isinstance(rod, Nail) and not rod.is_centred):
        return canal
    if isinstance(rod, Nail):
        radius = rod.bore_mm / 2
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
    room = 0.0 if rod is None else rod.clearance_mm
    return Walls(outer_profile(femur), reamed_profile(femur, rod), room)


def reamed(femur: Femur, rod: Nail | Stem | None) -> tuple[Profile | None, tuple[Tool, ...]]:
    """The reamed canal: a radius about the shaft axis, or a hole that follows a nail beside it."""
    if isinstance(rod, Nail) and not rod.is_centred:
        return None, (eccentric_hole(femur, rod),)
    return reamed_profile(femur, rod), ()


def eccentric_hole(femur: Femur, nail: Nail) -> Loft:
    """The least round hole that holds both the canal and the bore of an eccentric nail.

    The least circle round two circles, radii a and b and d apart, has radius (a + b + d) / 2, unless
    one holds the other. Between heights it is interpolated, which never cuts into either: weighted
    means of circles hold the weighted means of what each holds. The cusps between the two go with it.
    """
    canal, low = canal_profile(femur), nail.distal_end_mm
    radius = nail.bore_mm / 2
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
