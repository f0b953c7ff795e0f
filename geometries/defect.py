"""The gap between the bone ends and the tissue that fills it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from geometries.bone import Defect, Femur
from geometries.faces import Face, rough
from geometries.femur import REACH_STEPS, less, reached, rings, slab
from geometries.parameters import Nail, Stem
from geometries.profiles import Profile, canal_profile, outer_profile, reamed
from geometries.readout import Cut
from geometries.rods import along_nail
from geometries.solids import BONE_ENDS, Part, Piece, Points, Sector, Tool, radial

LAYERS = 3
BEYOND_MM = 2.0
RAYS, ON_RAY = 96, 6  # places of a cut through whole bone: round the shaft, and through its wall
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
    across = _directions(240)
    surface = _radii(outer, lower.towards(upper, 0.5), across)
    x, y = np.linspace(0, 1, 61)[:, None] * (surface * across)[:, None]
    return float((upper.at(x, y) - lower.at(x, y)).min())


def _directions(count: int) -> Points:
    """Unit vectors (2, count) round the shaft axis."""
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.array([np.cos(turn), np.sin(turn)])


def _radii(profile: Profile, face: Face, across: Points) -> Points:
    """Radius at which a face meets a round surface in directions (2, n), mm."""
    radii = np.full(across.shape[1], profile.at(face.height))
    for _ in range(REACH_STEPS):
        radii = np.interp(face.at(*(radii * across)), profile.heights, profile.radii)
    return radii


def cuts(femur: Femur, defect: Defect) -> dict[str, Cut]:
    """The bone ends as they would lie in whole bone, over the cross-section of its cortex.

    Rays round the shaft axis have Gauss points from canal to surface; a place weighs the area across
    the shaft that it stands for.
    """
    across, (nodes, shares) = _directions(RAYS), np.polynomial.legendre.leggauss(ON_RAY)
    found = {}
    for name, face in zip(BONE_ENDS, bone_ends(femur, defect), strict=True):
        inner, outer = (_radii(one(femur), face, across) for one in (canal_profile, outer_profile))
        radii = (outer + inner) / 2 + nodes[:, None] * (outer - inner) / 2
        areas = 2 * np.pi / RAYS * radii * shares[:, None] * (outer - inner) / 2
        x, y = radii * across[:, None]
        places = np.stack([x, y, face.at(x, y)], axis=-1).reshape(-1, 3)
        found[name] = Cut(places if femur.bow is None else femur.bow.place(places), areas.ravel())
    return found


def tissue_parts(femur: Femur, rod: Nail | Stem | None, defect: Defect) -> list[Part]:
    """Tissue in the canal, between the bone ends and in a cuff, as far as the defect has them."""
    gap, material = gap_part(femur, rod, defect), "tissue"
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


def gap_part(femur: Femur, rod: Nail | Stem | None, defect: Defect) -> Part:
    """Tissue over the cross-section of the cortex.

    It is cut into three slabs so that no mesh, however coarse, has fewer than three layers of cells
    from one bone end to the other.
    """
    outer, (inner, holes) = outer_profile(femur), reamed(femur, rod)
    pieces = _layers(outer, *bone_ends(femur, defect), inner)
    wall = defect.gap_mm if not defect.rough_mm else min(defect.gap_mm, defect.rough_wavelength_mm / 3)
    return Part("gap", "gap", "tissue", less(pieces, *holes), wall)


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
