"""Clearances in analytic distances, checked before any mesh exists."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, hypot, inf, radians, sin

from geometries.bone import Defect, Femur
from geometries.clearance import axis_distance
from geometries.defect import gap_centre, gap_levels, narrowest
from geometries.errors import StudyError
from geometries.nail import PROTRUSION_MM, bolt_levels, bolts
from geometries.parameters import Nail, Stem
from geometries.plate import ROD_CLEARANCE_MM, Screw, in_the_way, plate_span, screw_levels, screws
from geometries.plating import Plate
from geometries.profiles import Profile, outer_profile, reamed_profile, stem_bed, walls
from geometries.rods import SAME_MM, axis_at, centre_at, radius_at, rods
from geometries.solids import radial

BONE_BEYOND_NAIL_MM = 15.0
END_MARGIN_MM = 20.0
END_OFF_GAP_MM = 2.0
LEAST_CORTEX_MM = 1.5
LEAST_BETWEEN_MM = 1.0
LEAST_GAP_MM = 0.3
MOST_TURNED_DEG = 30.0  # chosen; such screws were tested to 15 (Lenz 2015, J Orthop Res 33:988)
TILT_MM = 0.05  # what a tilted nail takes from the room beside a screw that was turned past it


def check_clearances(
    name: str, femur: Femur, defect: Defect, rod: Nail | Stem | None, plate: Plate | None
) -> None:
    """Refuse a construct whose parts overlap, miss each other or leave the bone.

    Raises
    ------
    StudyError
        With one line per finding: place, value, limit and remedy.
    """
    findings = [*_gap_findings(femur, defect), *_cortex_findings(femur, rod)]
    if not findings:
        findings += _cuff_findings(femur, defect)
    if isinstance(rod, Nail):
        findings += _nail_findings(femur, defect, rod)
    if isinstance(rod, Stem):
        findings += _stem_findings(femur, defect, rod)
    if plate is not None:
        findings += _plate_findings(femur, defect, plate)
    if plate is not None and not findings:
        findings += _screw_findings(femur, defect, rod, plate)
        if isinstance(rod, Nail):
            outer = outer_profile(femur)
            findings += _plate_over_bolts(outer, rod, plate, gap_centre(femur, defect))
    if findings:
        raise StudyError("\n".join(f"construct {name!r}: {finding}" for finding in findings))


def _gap_findings(femur: Femur, defect: Defect) -> Iterator[str]:
    low, high = gap_levels(femur, defect)
    least = narrowest(femur, defect)
    if least < LEAST_GAP_MM:
        yield (
            f"defect: the bone ends come to {least:.2f} mm of each other; allowed {LEAST_GAP_MM:g} mm "
            "or more: lengthen gap_mm, lower rough_mm, or use rough_faces = 'matching'"
        )
    if low < END_MARGIN_MM or high > femur.length_mm - END_MARGIN_MM:
        yield (
            f"defect: the gap reaches from {low:.1f} to {high:.1f} mm, outside the bone; allowed "
            f"{END_MARGIN_MM:g} to {femur.length_mm - END_MARGIN_MM:g} mm: move site_percent or "
            "shorten gap_mm"
        )


def _cuff_findings(femur: Femur, defect: Defect) -> Iterator[str]:
    low, high = gap_levels(femur, defect)
    reach = defect.cuff_length_mm / 2 if defect.cuff_mm > 0 else 0.0
    if low - reach < END_MARGIN_MM or high + reach > femur.length_mm - END_MARGIN_MM:
        yield (
            f"defect.cuff_length_mm = {defect.cuff_length_mm:g}: the cuff reaches from "
            f"{low - reach:.1f} to {high + reach:.1f} mm; allowed {END_MARGIN_MM:g} to "
            f"{femur.length_mm - END_MARGIN_MM:g} mm: shorten it"
        )


def _cortex_findings(femur: Femur, rod: Nail | Stem | None) -> Iterator[str]:
    outer, inner = outer_profile(femur), reamed_profile(femur, rod)
    heights = sorted({*outer.heights, *inner.heights})
    thinnest = min(outer.at(z) - inner.at(z) for z in heights)
    if isinstance(rod, Nail) and not rod.is_centred:
        radius = rod.bore_mm / 2
        low = rod.distal_end_mm  # the bore goes on beyond the nail's top, out of the bone's
        passed = [low, *(z for z in heights if z > low)]
        left = [outer.at(z) - hypot(*axis_at(rod, z)) - radius for z in passed]
        thinnest = min(thinnest, *left)
    if thinnest < LEAST_CORTEX_MM:
        remedy = "thicken the femur" if rod is None else rod.thinner
        yield (
            f"cortex: {thinnest:.1f} mm is left at its thinnest; allowed {LEAST_CORTEX_MM:g} mm or "
            f"more: {remedy}"
        )


def _nail_findings(femur: Femur, defect: Defect, nail: Nail) -> Iterator[str]:
    low, high = nail.ends_mm
    gap = gap_levels(femur, defect)
    if high > femur.length_mm - BONE_BEYOND_NAIL_MM:
        yield (
            f"nail: its top is at {high:g} mm; allowed {femur.length_mm - BONE_BEYOND_NAIL_MM:g} mm "
            "or less: shorten length_mm or lower distal_end_mm"
        )
    yield from _break_findings(nail, low, high)
    yield from _end_findings(low, high, gap)
    play = nail.bolts.play_mm if nail.bolts.fit == "play" else 0.0
    if nail.bolts.diameter_mm + play > nail.diameter_mm - 3:
        with_play = f" with play_mm = {play:g}" if play else ""
        yield (
            f"nail.bolts.diameter_mm = {nail.bolts.diameter_mm:g}{with_play} leaves under 1.5 mm of "
            f"nail on either side; allowed {nail.diameter_mm - 3 - play:g} mm or less: choose "
            "thinner bolts"
        )
    if nail.bolts.spacing_mm < nail.bolts.diameter_mm + LEAST_BETWEEN_MM:
        yield (
            f"nail.bolts.spacing_mm = {nail.bolts.spacing_mm:g} lets bolts touch; allowed "
            f"{nail.bolts.diameter_mm + LEAST_BETWEEN_MM:g} mm or more: move them apart"
        )
    for z in bolt_levels(nail):
        distance = max(gap[0] - z, z - gap[1]) - nail.bolts.diameter_mm / 2
        if distance < LEAST_BETWEEN_MM:
            yield (
                f"nail bolt at {z:g} mm: {distance:.1f} mm from the gap; allowed "
                f"{LEAST_BETWEEN_MM:g} mm or more: move the bolt or the nail"
            )
    levels = bolt_levels(nail)
    if levels != sorted(levels):
        yield (
            f"nail.length_mm = {nail.length_mm:g} is too short for its bolts, which cross; allowed is "
            "room for both ends: use fewer, or a smaller bolts.first_mm or bolts.spacing_mm"
        )


def _end_findings(low: float, high: float, gap: tuple[float, float]) -> Iterator[str]:
    """A nail may end short of the gap, but not in it, where its end would graze the bone ends."""
    for name, z in (("distal", low), ("proximal", high)):
        if gap[0] - END_OFF_GAP_MM < z < gap[1] + END_OFF_GAP_MM:
            yield (
                f"nail: its {name} end at {z:g} mm lies in the gap from {gap[0]:.1f} to "
                f"{gap[1]:.1f} mm; allowed {END_OFF_GAP_MM:g} mm or more away: change length_mm or "
                "move distal_end_mm"
            )


def _break_findings(nail: Nail, low: float, high: float) -> Iterator[str]:
    if nail.break_mm is None:
        return
    reach = nail.break_opening_mm / 2 + nail.bolts.diameter_mm / 2 + LEAST_BETWEEN_MM
    near = [z for z in (low, *bolt_levels(nail), high) if abs(z - nail.break_mm) < reach]
    if near or not low < nail.break_mm < high:
        yield (
            f"nail.break_mm = {nail.break_mm:g} lies outside the nail from {low:g} to {high:g} mm, or "
            f"on a bolt or an end; allowed is {reach:.1f} mm away from them: move it"
        )


def _stem_findings(femur: Femur, defect: Defect, stem: Stem) -> Iterator[str]:
    tip, low = femur.length_mm - stem.length_mm, stem_bed(stem, femur.length_mm).heights[1]
    gap = gap_levels(femur, defect)
    if low < gap[1] + END_OFF_GAP_MM:
        yield (
            f"stem: its bed reaches down to {low:.1f} mm, tip {tip:g} mm, into the gap up to "
            f"{gap[1]:.1f} mm; allowed {gap[1] + END_OFF_GAP_MM:.1f} mm or more: shorten length_mm or "
            "move site_percent"
        )


def _plate_findings(femur: Femur, defect: Defect, plate: Plate) -> Iterator[str]:
    gap = gap_levels(femur, defect)
    centre = gap_centre(femur, defect)
    low, high = plate_span(plate, centre)
    if low < 5 or high > femur.length_mm - 5:
        yield (
            f"plate: it reaches from {low:g} to {high:g} mm; allowed 5 to {femur.length_mm - 5:g} "
            "mm: use fewer holes or another shift_mm"
        )
        return
    radius = plate.screws.diameter_mm / 2
    levels = screw_levels(plate, centre)
    for z in levels:
        distance = max(gap[0] - z, z - gap[1]) - radius
        if distance < LEAST_BETWEEN_MM:
            yield (
                f"plate screw at {z:g} mm: {distance:.1f} mm from the gap; allowed "
                f"{LEAST_BETWEEN_MM:g} mm or more: fill holes further out or change shift_mm"
            )
    if not (min(levels) < gap[0] and gap[1] < max(levels)):
        yield (
            f"plate: all its screws, from {min(levels):g} to {max(levels):g} mm, lie on one side of "
            "the gap, nothing holds the other fragment; use a smaller shift_mm"
        )


def _screw_findings(
    femur: Femur, defect: Defect, rod: Nail | Stem | None, plate: Plate
) -> Iterator[str]:
    """Screws against what stands in the canal, against its bolts, and in the cortex."""
    bone, name = walls(femur, rod), "" if rod is None else rod.noun
    canal = rods(rod, femur.length_mm)
    radius = plate.screws.diameter_mm / 2
    for screw in screws(plate, canal, bone, gap_centre(femur, defect)):
        solid = screw.solid(2 * radius)
        where = f"plate screw at {screw.height:g} mm"
        for one in canal:
            wide = radius_at(one, screw.height)
            keep_off, distance = wide + ROD_CLEARANCE_MM, screw.tip
            if screw.tip < 0:
                keep_off, distance = keep_off + radius - TILT_MM, axis_distance(solid, one)
            elif screw.tip > 0:
                x, y, _ = radial(screw.azimuth_deg)
                u, v = centre_at(one, screw.height)
                distance -= max(u * x + v * y, 0.0)
            if in_the_way(one, screw.height, radius) and distance < keep_off - SAME_MM:
                yield (
                    f"{where} hits the {name}: it comes to {distance:.1f} mm from its axis; allowed "
                    f"{keep_off:.1f} mm or more: use cortices = 'unicortical' or 'tangential'"
                )
        yield from _in_cortex(screw, bone.outer, radius, where, plate.azimuth_deg)
        for bolt in bolts(rod, bone.outer) if isinstance(rod, Nail) else ():
            least = radius + bolt.radius + LEAST_BETWEEN_MM
            distance = axis_distance(solid, bolt)
            if distance < least:
                yield (
                    f"{where} hits the nail's bolt at {bolt.base[2]:g} mm: {distance:.1f} mm between "
                    f"their axes; allowed {least:g} mm or more: change the plate's shift_mm, holes or "
                    "azimuth_deg"
                )


def _in_cortex(
    screw: Screw, outer: Profile, radius: float, where: str, azimuth_deg: float
) -> Iterator[str]:
    surface = outer.at(screw.height)
    if screw.tip > surface - LEAST_CORTEX_MM:
        yield (
            f"{where} misses the cortex: it holds {surface - screw.tip:.1f} mm; allowed "
            f"{LEAST_CORTEX_MM:g} mm or more: choose a thinner nail or a thicker cortex"
        )
    turned = abs((azimuth_deg - screw.azimuth_deg + 180) % 360 - 180)
    outside = abs(screw.aside) + radius - (surface - LEAST_CORTEX_MM)
    if turned > MOST_TURNED_DEG or outside > 0:
        yield (
            f"{where} would turn by {turned:.0f}° and pass {abs(screw.aside):.1f} mm beside the axis; "
            f"allowed are {MOST_TURNED_DEG:g}° and {surface - LEAST_CORTEX_MM - radius:.1f} mm: choose "
            "thinner screws or use cortices = 'unicortical'"
        )


def _plate_over_bolts(outer: Profile, nail: Nail, plate: Plate, centre: float) -> Iterator[str]:
    """Bolt ends stand out of the bone and may touch a plate that covers them."""
    low, high = plate_span(plate, centre)
    between = radians(plate.azimuth_deg - nail.bolts.azimuth_deg)
    aside, along = abs(sin(between)), abs(cos(between))
    radius, least = nail.bolts.diameter_mm / 2, PROTRUSION_MM + 0.3
    for z in bolt_levels(nail):
        reach = outer.largest(z - radius, z + radius) + PROTRUSION_MM
        face = min(outer.at(z - radius), outer.at(z + radius)) + plate.offset_mm
        # The bolt lies deepest under the plate at its end, or where it leaves the plate's edge.
        edge = (plate.width_mm / 2 + radius * along) / aside if aside > 0 else inf
        under = min(reach, edge)
        beside = edge < reach and under * along + radius * aside < face
        below = reach * along + radius * aside < face - 0.3
        if low - radius < z < high + radius and not (beside or below):
            yield (
                f"plate.offset_mm = {plate.offset_mm:g}: the plate lies on the nail's bolt at "
                f"{z:g} mm, which stands {PROTRUSION_MM:g} mm out of the bone; allowed {least:g} mm "
                "or more, or another azimuth_deg or shift_mm"
            )
