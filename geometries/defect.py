"""The gap between the bone ends and the tissue that fills it."""

from __future__ import annotations

import numpy as np

from geometries.bone import Defect, Femur
from geometries.femur import Profile, level_rings, outer_profile, reamed_profile
from geometries.parameters import Nail
from geometries.solids import Part

LAYERS = 3


def gap_levels(femur: Femur, defect: Defect) -> tuple[float, float]:
    """Heights of the distal and the proximal bone end, mm."""
    centre = femur.length_mm * (1 - defect.site_percent / 100)
    return centre - defect.gap_mm / 2, centre + defect.gap_mm / 2


def tissue_parts(femur: Femur, nail: Nail | None, defect: Defect, material: str) -> list[Part]:
    """Tissue between the bone ends, in the canal and in a cuff, as far as the defect has them.

    Bone in the gap's place (an intact femur) has neither canal filling nor cuff.
    """
    parts = [gap_part(femur, nail, defect, material)]
    if material != "tissue":
        return parts
    low, high = gap_levels(femur, defect)
    outer, inner = outer_profile(femur), reamed_profile(femur, nail)
    if defect.fill == "canal":
        levels = np.linspace(low, high, LAYERS + 1).tolist()
        hole = None
        if nail is not None:
            hole = Profile((low, high), (nail.diameter_mm / 2,) * 2)
        pieces = level_rings(inner, hole, levels)
        parts.append(Part("inner", "inner", material, pieces, defect.gap_mm))
    if defect.cuff_mm > 0:
        reach = defect.cuff_length_mm / 2
        around = Profile(outer.heights, tuple(r + defect.cuff_mm for r in outer.radii))
        pieces = level_rings(around, outer, [low - reach, low, high, high + reach])
        parts.append(Part("cuff", "cuff", material, pieces, defect.cuff_mm))
    return parts


def gap_part(femur: Femur, nail: Nail | None, defect: Defect, material: str) -> Part:
    """Tissue over the cross-section of the cortex.

    It is cut into three slabs so that no mesh, however coarse, has fewer than three layers of cells
    from one bone end to the other.
    """
    low, high = gap_levels(femur, defect)
    outer, inner = outer_profile(femur), reamed_profile(femur, nail)
    levels = np.linspace(low, high, LAYERS + 1).tolist()
    pieces = level_rings(outer, inner, levels)
    return Part("gap", "gap", material, pieces, defect.gap_mm)
