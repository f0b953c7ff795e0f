"""The gap between the bone ends and the tissue that fills it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from geometries.bone import Defect, Femur
from geometries.faces import Face, rough
from geometries.femur import REACH_STEPS, less, reached, rings, slab
from geometries.parameters import Nail, Stem
from geometries.profiles import Profile, outer_profile, reamed
from geometries.rods import along_nail
from geometries.solids import Part, Piece, Sector, Tool, radial

LAYERS = 3
BEYOND_MM = 2.0
SECOND_SEED = 1_000_003  # more than any seed of a study


def gap_centre(femur: Femur, defect: Defect) -> float:
    """Height of the middle of the gap on the shaft axis, mm."""
    return femur.length_mm * (1 - defect.site_percent / 100)


def bone_ends(femur: Femur, defect: Defect) -> tuple[Face, Face]:
    """Faces of the distal and of the proximal bone end.

    A wedge opens both ends by half; the bone turns about the surface opposite to its open side.
    """
    centre = gap_centre(femur, defect)
    outer = outer_profile(femur)
    radius = outer.at(centre)
    tilt = np.tan(np.radians(defect.oblique_deg)) * np.array(radial(defect.oblique_azimuth_deg)[:2])
    open_side = np.array(radial(defect.wedge_azimuth_deg)[:2])
    faces = []
    for side in (-0.5, 0.5):
        x, y = (tilt + side * defect.wedge_mm / (2 * radius) * open_side).tolist()
        height = centre + side * (defect.gap_mm + defect.wedge_mm / 2)
        face = Face(height, (x + 0.0, y + 0.0))
        face = replace(face, reach=reached(outer, face) + defect.cuff_mm + BEYOND_MM)
        if defect.rough_mm > 0:
            is_other = side > 0 and defect.rough_faces == "unlike"
            seed = defect.rough_seed + (SECOND_SEED if is_other else 0)
            face = rough(face, defect.rough_mm, defect.rough_wavelength_mm, seed)
        faces.append(face)
    return faces[0], faces[1]


def gap_levels(femur: Femur, defect: Defect) -> tuple[float, float]:
    """Heights between which some of the gap lies, mm: the bone ends where it is flat and transverse."""
    (lower, upper), outer = bone_ends(femur, defect), outer_profile(femur)
    return lower.extent(reached(outer, lower))[0], upper.extent(reached(outer, upper))[1]


def narrowest(femur: Femur, defect: Defect) -> float:
    """Least distance of the bone ends along the shaft over the cross-section of the bone, mm."""
    (lower, upper), outer = bone_ends(femur, defect), outer_profile(femur)
    turn = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    across, middle = np.array([np.cos(turn), np.sin(turn)]), lower.towards(upper, 0.5)
    surface = np.full(turn.shape, outer.at(middle.height))
    for _ in range(REACH_STEPS):
        surface = np.interp(middle.at(*(surface * across)), outer.heights, outer.radii)
    x, y = np.linspace(0, 1, 61)[:, None] * (surface * across)[:, None]
    return float((upper.at(x, y) - lower.at(x, y)).min())


def tissue_parts(femur: Femur, rod: Nail | Stem | None, defect: Defect, material: str) -> list[Part]:
    """Tissue in the canal, between the bone ends and in a cuff, as far as the defect has them.

    Bone in the gap's place (an intact femur) has neither canal filling nor cuff nor bridge.
    """
    gap = gap_part(femur, rod, defect, material)
    if material != "tissue":
        return [gap]
    lower, upper = bone_ends(femur, defect)
    outer = outer_profile(femur)
    parts = []
    if defect.fill == "canal":
        hole: tuple[Tool, ...] = ()
        if isinstance(rod, Nail):
            low, high = gap_levels(femur, defect)
            hole = (along_nail(rod, low - BEYOND_MM, high + BEYOND_MM, rod.diameter_mm),)
        pieces = less(_layers(outer, lower, upper), *hole)
        parts.append(Part("inner", "inner", material, pieces, gap.wall))
    parts.append(gap)
    if defect.bridge_percent > 0:
        parts.append(_bridge(femur, defect, gap))
    if defect.cuff_mm > 0:
        reach = defect.cuff_length_mm / 2
        low, high = gap_levels(femur, defect)
        around = Profile(outer.heights, tuple(r + defect.cuff_mm for r in outer.radii))
        pieces = rings(around, outer, low - reach, high + reach)
        parts.append(Part("cuff", "cuff", material, pieces, defect.cuff_mm))
    return parts


def gap_part(femur: Femur, rod: Nail | Stem | None, defect: Defect, material: str) -> Part:
    """Tissue over the cross-section of the cortex.

    It is cut into three slabs so that no mesh, however coarse, has fewer than three layers of cells
    from one bone end to the other.
    """
    outer, (inner, holes) = outer_profile(femur), reamed(femur, rod)
    pieces = _layers(outer, *bone_ends(femur, defect), inner)
    wall = defect.gap_mm if not defect.rough_mm else min(defect.gap_mm, defect.rough_wavelength_mm / 3)
    return Part("gap", "gap", material, less(pieces, *holes), wall)


def _layers(
    outer: Profile, lower: Face, upper: Face, inner: Profile | None = None
) -> tuple[Piece, ...]:
    faces = [lower, *(lower.towards(upper, k / LAYERS) for k in range(1, LAYERS)), upper]
    return tuple(
        piece for below, above in pairwise(faces) for piece in slab(outer, inner, below, above)
    )


def _bridge(femur: Femur, defect: Defect, gap: Part) -> Part:
    """Bone that has bridged a sector of the gap; it paints over the tissue there."""
    low, high = gap_levels(femur, defect)
    angle = 3.6 * defect.bridge_percent
    rest = Sector(defect.bridge_azimuth_deg + 180, 360 - angle, low - BEYOND_MM, high + BEYOND_MM)
    return Part("bridge", "cortex", femur.cortical, less(gap.pieces, rest), gap.wall)
