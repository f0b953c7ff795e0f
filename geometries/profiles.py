"""Radii along the shaft: the bone's surface, its canal, and what reaming makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometries.bone import Femur
from geometries.parameters import Nail, Stem
from geometries.rods import BORE_BELOW_NAIL_MM, PLUG_MM, axis_at
from geometries.solids import Loft, Tool

# Shares of the femur's length at which radii change their slope, and tops of the cancellous cores, the
# latter from memory. Straight stretches between them stay well within the scatter of six adult femurs,
# open data of morphomap 1.5 (Profico et al. 2023, DOI 10.32614/CRAN.package.morphomap). A round tube
# with the six's mean canal and mean second moment (Ix + Iy) / 2, and so their J, has these outer and
# canal diameters, mm, ± of single bones:
#   20 %: 33.0 ± 2.6, 23.5 ± 4.0    35 %: 28.2 ± 2.4, 15.6 ± 3.2    50 %: 27.0 ± 2.3, 11.0 ± 2.2
#   60 %: 26.9 ± 2.3, 10.2 ± 1.6    65 %: 27.1 ± 2.3, 10.9 ± 1.8    80 %: 28.9 ± 2.3, 15.4 ± 3.8
DISTAL_CORE, PROXIMAL_CORE = 0.20, 0.85
DISTAL_LEVEL = 0.25
SHAFT = (0.40, 0.65)
ISTHMUS = (0.55, 0.65)
FLARE = 0.80
FLARE_OUT = 1.07  # outer diameter at the flare, of that of the shaft
WIDER = (0.11, 0.18)  # by what share of the shaft's diameter the canal is wider at 40 and 80 %
# Of the model, not of a femur: 2 mm of cortex at the ends and sections 15 mm inside, of 430 mm.
END_CORTEX = 2.0 / 430.0
SECTION_INSET = 15.0 / 430.0
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
    """Periosteal radius along the shaft; below it the flare goes on straight to the knee end."""
    shaft = femur.shaft_diameter_mm / 2
    slope = (femur.distal_diameter_mm / 2 - shaft) / (SHAFT[0] - DISTAL_LEVEL)
    return _along(
        femur,
        {
            0.0: shaft + slope * SHAFT[0],
            SHAFT[0]: shaft,
            SHAFT[1]: shaft,
            FLARE: FLARE_OUT * shaft,
            1.0: femur.proximal_diameter_mm / 2,
        },
    )


def canal_profile(femur: Femur) -> Profile:
    """Endosteal radius along the shaft before reaming."""
    length, outer = femur.length_mm, outer_profile(femur)
    shell, isthmus = END_CORTEX * length, femur.canal_diameter_mm / 2
    low, high = (isthmus + share * femur.shaft_diameter_mm / 2 for share in WIDER)
    at_level = femur.distal_diameter_mm / 2 - femur.distal_cortex_mm
    core = low + (at_level - low) * (SHAFT[0] - DISTAL_CORE) / (SHAFT[0] - DISTAL_LEVEL)
    return _along(
        femur,
        {
            0.0: outer.at(0.0) - shell,
            DISTAL_CORE: max(min(core, outer.at(DISTAL_CORE * length) - shell), isthmus),
            SHAFT[0]: low,
            ISTHMUS[0]: isthmus,
            ISTHMUS[1]: isthmus,
            FLARE: high,
            1.0: outer.at(length) - shell,
        },
    )


def _along(femur: Femur, radii: dict[float, float]) -> Profile:
    """A profile from radii, mm, at shares of the femur's length."""
    return Profile(tuple(share * femur.length_mm for share in radii), tuple(radii.values()))


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
