"""What a surgeon would ask of a construct before any result: numbers, and how they are said."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot, inf

from geometries.bone import Defect, Femur
from geometries.bow import sagitta
from geometries.defect import gap_centre, gap_levels
from geometries.nail import bolt_levels, fit_span
from geometries.parameters import Nail, Stem
from geometries.plate import plate_span, screw_levels
from geometries.plating import Plate
from geometries.profiles import canal_profile, eccentric_hole, outer_profile, reamed_profile
from geometries.rods import axis_at

REAMED = " mm, canal reamed to "


def facts_of(
    femur: Femur, defect: Defect, rod: Nail | Stem | None, plates: tuple[Plate, ...]
) -> dict[str, float]:
    """Numbers that a surgeon would ask for before looking at results."""
    gap, centre = gap_levels(femur, defect), gap_centre(femur, defect)
    reach = reamed_profile(femur, rod).at(centre)
    clearance = reach - rod.diameter_mm / 2 if isinstance(rod, Nail) else 0.0
    if isinstance(rod, Nail) and not rod.is_centred:
        x, y, radius = eccentric_hole(femur, rod).at(centre)
        reach, clearance = hypot(x, y) + radius, rod.clearance_mm
    facts = {"gap_centre_mm": centre, "cortex_at_gap_mm": outer_profile(femur).at(centre) - reach}
    if isinstance(rod, Nail) and rod.bore_mm > femur.canal_diameter_mm:
        facts |= {"canal_reamed_from_mm": femur.canal_diameter_mm, "canal_reamed_to_mm": rod.bore_mm}
    if isinstance(rod, Nail):
        levels, fit = bolt_levels(rod), fit_span(rod, femur)
        if rod.ends_mm[0] < centre < rod.ends_mm[1]:
            facts["nail_clearance_at_gap_mm"] = clearance
        facts["canal_fit_mm"] = fit[1] - fit[0] if fit else 0.0
        if femur.bow_radius_mm is not None or rod.bow_radius_mm is not None:
            bows = (sagitta(rod.length_mm, one.bow_radius_mm) for one in (femur, rod))
            facts["bow_mismatch_mm"] = next(bows) - next(bows)
        if levels:
            facts["bolt_to_gap_mm"] = min(max(gap[0] - z, z - gap[1]) for z in levels)
    if isinstance(rod, Stem):
        facts["stem_tip_to_gap_mm"] = femur.length_mm - rod.length_mm - gap[1]
    for plate, which in zip(plates, ("", "second_"), strict=False):
        levels = screw_levels(plate, centre)
        below, above = max(z for z in levels if z < centre), min(z for z in levels if z > centre)
        free = (below, above) if plate.on_bone == "offset" else gap  # bone ties it up to the gap
        facts[f"{which}plate_working_length_mm"] = free[1] - free[0]
        facts[f"{which}screw_density"] = len(levels) / plate.hole_count
        if isinstance(rod, Stem):
            top = plate_span(plate, centre)[1]
            facts["plate_over_stem_mm"] = max(top - (femur.length_mm - rod.length_mm), 0.0)
    return facts


def in_words(facts: Mapping[str, float]) -> list[str]:
    """Numbers of a construct as words, with their units."""
    words = ", ".join(
        f"{name.removesuffix('_mm').replace('_', ' ')} {value:.3g}"
        f"{' mm' if name.endswith('_mm') else ''}"
        for name, value in facts.items()
    )
    return words.replace(REAMED, " to ").split(", ") if words else []


def thinnest_reamed(femur: Femur, rod: Nail | Stem) -> float:
    """Least cortex that is left where reaming takes bone away, mm; infinite where it takes none."""
    outer, canal, inner = outer_profile(femur), canal_profile(femur), reamed_profile(femur, rod)
    if isinstance(rod, Nail) and not rod.is_centred:
        heights = [rod.distal_end_mm, *(z for z in inner.heights if z > rod.distal_end_mm)]
        reaches = [(z, hypot(*axis_at(rod, z)) + rod.bore_mm / 2) for z in heights]
    else:
        reaches = [(z, inner.at(z)) for z in inner.heights]
    return min((outer.at(z) - reach for z, reach in reaches if reach > canal.at(z)), default=inf)
