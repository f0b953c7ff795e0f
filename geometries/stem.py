"""The stem of a hip prosthesis and what holds it in the canal."""

from __future__ import annotations

from math import pi

from geometries.bone import Femur
from geometries.femur import less, rings
from geometries.parameters import Stem
from geometries.profiles import outer_profile, stem_bed
from geometries.readout import Beam
from geometries.rods import stem_solid
from geometries.solids import Part, Piece, Tool


def bed_part(stem: Stem, femur: Femur) -> Part:
    """Cement or cancellous bone that fills the canal round the stem; the cortex paints over it.

    Cement reaches a little below the tip. Below the ingrown length of an uncemented stem its bed is
    void.
    """
    length = femur.length_mm
    outer, bed = outer_profile(femur), stem_bed(stem, length)
    tip = bed.heights[2]
    hole: tuple[Tool, ...] = (stem_solid(stem, length),)
    if stem.fixation == "cemented":
        pieces, material = less(rings(outer, None, tip, length), *hole), "cement"
    else:
        low = length - stem.ingrown_percent / 100 * stem.length_mm
        pieces, material = less(rings(outer, None, low, length), *hole), femur.cancellous
    return Part("bed", "canal", material, pieces, stem.mantle_mm)


def stem_part(stem: Stem, femur: Femur) -> Part:
    """The stem as one solid cone."""
    whole = stem_solid(stem, femur.length_mm)
    return Part("stem", "stem", stem.material, (Piece(whole),), stem.tip_diameter_mm / 2)


def stem_beam(stem: Stem) -> Beam:
    """The stem at its tip as a beam."""
    d = stem.tip_diameter_mm
    return Beam(
        "stem", pi / 4 * d**2, ((1.0, 0.0), (0.0, 1.0)), (pi / 32 * d**3,) * 2, True, (0.0, 0.0)
    )
