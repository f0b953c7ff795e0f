"""The simplified femur: radii along the shaft and the rings of bone between them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometries.bone import Femur
from geometries.parameters import Nail
from geometries.solids import Frustum, Part, Piece

# Shares of the femur's length, from memory: the tubular shaft and the tops of the cancellous cores.
SHAFT = (0.40, 0.72)
DISTAL_CORE, PROXIMAL_CORE = 0.20, 0.85
DISTAL_LEVEL = 0.25
END_CORTEX_MM = 2.0
BORE_BELOW_NAIL_MM = 5.0
SAME_MM = 1e-6


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


def reamed_profile(femur: Femur, nail: Nail | None) -> Profile:
    """Endosteal radius after reaming for a nail: the larger of canal and bore at every height."""
    canal = canal_profile(femur)
    if nail is None:
        return canal
    bore = (nail.diameter_mm + nail.reaming_mm) / 2
    heights: list[float] = [canal.heights[0]]
    for low, high in pairwise(canal.heights):
        start, end = canal.at(low), canal.at(high)
        if (start - bore) * (end - bore) < 0:
            heights.append(low + (bore - start) / (end - start) * (high - low))
        heights.append(high)
    return Profile(tuple(heights), tuple(max(canal.at(z), bore) for z in heights))


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


def bone_parts(
    femur: Femur, nail: Nail | None, gap: tuple[float, float], sections: tuple[float, float]
) -> list[Part]:
    """Cortex without the gap, and the cancellous cores of both ends.

    Parameters
    ----------
    femur, nail : Femur, Nail or None
        Parameters; the nail only for its bore.
    gap : (float, float)
        Heights of the two bone ends, mm.
    sections : (float, float)
        Heights of the reference sections, mm.

    Returns
    -------
    list of Part
        ``cortex_distal``, ``cortex_proximal``, ``cancellous_distal``, ``cancellous_proximal``.
    """
    length = femur.length_mm
    outer, inner = outer_profile(femur), reamed_profile(femur, nail)
    canal = canal_profile(femur)
    wall = outer.at(length / 2) - inner.at(length / 2)
    distal = level_rings(outer, inner, [0.0, sections[0], gap[0]])
    proximal = level_rings(outer, inner, [gap[1], sections[1], length])
    parts = [
        Part("cortex_distal", "cortex", femur.cortical, distal, wall),
        Part("cortex_proximal", "cortex", femur.cortical, proximal, wall),
    ]
    cores = {
        "cancellous_distal": [0.0, sections[0], min(DISTAL_CORE * length, gap[0])],
        "cancellous_proximal": [max(PROXIMAL_CORE * length, gap[1]), sections[1], length],
    }
    for name, levels in cores.items():
        pieces = tuple(
            piece for low, high in pairwise(levels) for piece in _core(canal, nail, low, high)
        )
        parts.append(Part(name, "cancellous", femur.cancellous, pieces, canal.at(levels[0])))
    return parts


def _core(canal: Profile, nail: Nail | None, low: float, high: float) -> tuple[Piece, ...]:
    """Cancellous bone inside the canal, with the nail's bore where the nail reaches."""
    if nail is None:
        return rings(canal, None, low, high)
    bore = (nail.diameter_mm + nail.reaming_mm) / 2
    bottom = nail.distal_end_mm - BORE_BELOW_NAIL_MM
    hole = Profile((low, high), (bore, bore))
    if bottom <= low:
        return rings(canal, hole, low, high)
    if bottom >= high:
        return rings(canal, None, low, high)
    return rings(canal, None, low, bottom) + rings(canal, hole, bottom, high)
