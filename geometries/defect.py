"""The gap between the bone ends and the tissue that fills it."""

from __future__ import annotations

import numpy as np

from geometries.bone import Defect, Femur
from geometries.femur import level_rings, outer_profile, reamed_profile
from geometries.parameters import Nail
from geometries.solids import Part

LAYERS = 3


def gap_levels(femur: Femur, defect: Defect) -> tuple[float, float]:
    """Heights of the distal and the proximal bone end, mm."""
    centre = femur.length_mm * (1 - defect.site_percent / 100)
    return centre - defect.gap_mm / 2, centre + defect.gap_mm / 2


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
