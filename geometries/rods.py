"""Straight implants in the canal: where their axis lies, their solids, and what reaming removes."""

from __future__ import annotations

from geometries.parameters import Nail, Stem
from geometries.solids import Frustum, Vector, cylinder

BORE_BELOW_NAIL_MM = 5.0
BORE_ABOVE_BONE_MM = 1.0
PLUG_MM = 8.0
SAME_MM = 1e-6


def axis_at(nail: Nail, z: float) -> tuple[float, float]:
    """Where the nail's axis passes a height: medial and anterior, mm."""
    share = (z - nail.distal_end_mm) / nail.length_mm
    (x, y), (u, v) = nail.distal_offset_mm, nail.proximal_offset_mm
    return x + share * (u - x), y + share * (v - y)


def along_nail(nail: Nail, low: float, high: float, diameter: float) -> Frustum:
    """A round bar on the nail's axis between two heights."""
    start, end = axis_at(nail, low), axis_at(nail, high)
    return cylinder((*start, low), (end[0] - start[0], end[1] - start[1], high - low), diameter)


def bore(nail: Nail, length: float) -> Frustum:
    """What reaming takes out of the cancellous bone, from below the nail out of the femur's top."""
    low = nail.distal_end_mm - BORE_BELOW_NAIL_MM
    return along_nail(nail, low, length + BORE_ABOVE_BONE_MM, nail.bore_mm)


def stem_solid(stem: Stem, length: float) -> Frustum:
    """The stem from its tip to the top of the femur."""
    base: Vector = (0.0, 0.0, length - stem.length_mm)
    return Frustum(base, (0.0, 0.0, stem.length_mm), stem.tip_diameter_mm / 2, stem.top_diameter_mm / 2)


def rods(rod: Nail | Stem | None, length: float) -> list[Frustum]:
    """Outlines of what stands in the canal, for clearances: a list of one or none."""
    if rod is None:
        return []
    if isinstance(rod, Stem):
        return [stem_solid(rod, length)]
    low, high = rod.ends_mm
    return [along_nail(rod, low, high, rod.diameter_mm)]


def centre_at(rod: Frustum, z: float) -> tuple[float, float]:
    """Where a rod's axis passes a height: medial and anterior, mm."""
    share = (z - rod.base[2]) / rod.axis[2]
    return rod.base[0] + share * rod.axis[0], rod.base[1] + share * rod.axis[1]


def radius_at(rod: Frustum, z: float) -> float:
    """Radius of a rod at a height, mm."""
    share = min(max((z - rod.base[2]) / rod.axis[2], 0.0), 1.0)
    return rod.radius + share * (rod.end_radius - rod.radius)
