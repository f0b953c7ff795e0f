"""Clearances in analytic distances, checked before any mesh exists."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, product
from math import cos, hypot, inf, radians, sin

import numpy as np

from geometries.bone import Defect, Femur
from geometries.defect import gap_levels
from geometries.errors import StudyError
from geometries.femur import Profile, outer_profile, reamed_profile
from geometries.nail import PROTRUSION_MM, bolt_levels
from geometries.parameters import Nail, Plate
from geometries.plate import (
    NAIL_CLEARANCE_MM,
    is_bicortical,
    plate_span,
    screw_levels,
    screws,
)
from geometries.solids import Frustum, Part, Points, Prism, radial

BONE_BEYOND_NAIL_MM = 15.0
END_MARGIN_MM = 20.0
LEAST_CORTEX_MM = 1.5
LEAST_BETWEEN_MM = 1.0
APART_MM = 0.5


def check_clearances(
    name: str, femur: Femur, defect: Defect, nail: Nail | None, plate: Plate | None
) -> None:
    """Refuse a construct whose parts overlap, miss each other or leave the bone.

    Raises
    ------
    StudyError
        With one line per finding: place, value, limit and remedy.
    """
    findings = [*_gap_findings(femur, defect), *_cortex_findings(femur, nail)]
    if not findings:
        findings += _cuff_findings(femur, defect)
    if nail is not None:
        findings += _nail_findings(femur, defect, nail)
    if plate is not None:
        findings += _plate_findings(femur, defect, plate)
    if nail is not None and plate is not None and not findings:
        findings += _nail_against_screws(femur, defect, nail, plate)
    if findings:
        raise StudyError("\n".join(f"construct {name!r}: {finding}" for finding in findings))


def check_apart(name: str, plates: list[list[Part]]) -> None:
    """Refuse two plates that overlap, or whose screws meet each other or the other plate.

    Parameters
    ----------
    name : str
        The construct.
    plates : list of list of Part
        Parts of each plate: the plate, then its screws.

    Raises
    ------
    StudyError
        With one line per finding.
    """
    findings = []
    for one, other in combinations(plates, 2):
        for a, b in product(one, other):
            if b.contains(_within(a)).any() or a.contains(_within(b)).any():
                findings.append(
                    f"construct {name!r}: {a.name} and {b.name} are less than {APART_MM:g} mm apart; "
                    "allowed is more: change the second plate's azimuth_deg, shift_mm or holes, or "
                    "use cortices = 'unicortical'"
                )
    if findings:
        raise StudyError("\n".join(findings))


def _within(part: Part) -> Points:
    """Points (n, 3) spread over a plate or screw, and over a thin layer round it, mm."""
    solid = part.pieces[-1].solid
    if isinstance(solid, Frustum):
        axis = np.asarray(solid.axis) / solid.height
        up = np.array([0.0, 0.0, 1.0])
        turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
        ring = np.outer(np.cos(turn), up) + np.outer(np.sin(turn), np.cross(axis, up))
        along = np.linspace(0, solid.height, 120)[:, None, None] * axis
        return np.asarray(solid.base + along + (solid.radius + APART_MM) * ring).reshape(-1, 3)
    out, across = np.asarray(radial(solid.azimuth_deg)), np.asarray(solid.sweep)
    inner, outer = (np.array(p.solid.outline) for p in (part.pieces[0], part.pieces[-1])
                    if isinstance(p.solid, Prism))  # fmt: skip
    heights = np.linspace(inner[0, 1], inner[len(inner) // 2 - 1, 1], 200)
    half = len(inner) // 2
    low = np.interp(heights, inner[:half, 1], inner[:half, 0]) - APART_MM
    high = np.interp(heights, outer[half:, 1][::-1], outer[half:, 0][::-1]) + APART_MM
    depth = low[:, None] + np.linspace(0, 1, 5) * (high - low)[:, None]
    side = np.linspace(-0.5, 0.5, 17) * (1 + 2 * APART_MM / solid.width)
    points = (
        depth[:, :, None, None] * out
        + side[None, None, :, None] * across
        + heights[:, None, None, None] * np.array([0.0, 0.0, 1.0])
    )
    return np.asarray(points).reshape(-1, 3)


def _gap_findings(femur: Femur, defect: Defect) -> Iterator[str]:
    low, high = gap_levels(femur, defect)
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


def _cortex_findings(femur: Femur, nail: Nail | None) -> Iterator[str]:
    outer, inner = outer_profile(femur), reamed_profile(femur, nail)
    heights = sorted({*outer.heights, *inner.heights})
    thinnest = min(outer.at(z) - inner.at(z) for z in heights)
    if thinnest < LEAST_CORTEX_MM:
        remedy = "thicken the femur" if nail is None else "choose a thinner nail or less reaming_mm"
        yield (
            f"cortex: {thinnest:.1f} mm is left at its thinnest; allowed {LEAST_CORTEX_MM:g} mm or "
            f"more: {remedy}"
        )


def _nail_findings(femur: Femur, defect: Defect, nail: Nail) -> Iterator[str]:
    low, high = nail.distal_end_mm, nail.distal_end_mm + nail.length_mm
    gap = gap_levels(femur, defect)
    if high > femur.length_mm - BONE_BEYOND_NAIL_MM:
        yield (
            f"nail: its top is at {high:g} mm; allowed {femur.length_mm - BONE_BEYOND_NAIL_MM:g} mm "
            "or less: shorten length_mm or lower distal_end_mm"
        )
    if not (low < gap[0] and gap[1] < high):
        yield (
            f"nail: it reaches from {low:g} to {high:g} mm and does not bridge the gap at "
            f"{gap[0]:.1f} to {gap[1]:.1f} mm: lengthen it or move distal_end_mm"
        )
    yield from _break_findings(nail, low, high)
    if nail.bolts.diameter_mm > nail.diameter_mm - 3:
        yield (
            f"nail.bolts.diameter_mm = {nail.bolts.diameter_mm:g} leaves under 1.5 mm of nail on "
            f"either side; allowed {nail.diameter_mm - 3:g} mm or less: choose thinner bolts"
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
    for side, count, levels in (
        ("distal", nail.bolts.distal, [z for z in bolt_levels(nail) if z < gap[0]]),
        ("proximal", nail.bolts.proximal, [z for z in bolt_levels(nail) if z > gap[1]]),
    ):
        if len(levels) != count:
            yield (
                f"nail.bolts.{side} = {count}, but {len(levels)} bolts lie on that side of the gap: "
                "shorten bolts.first_mm or bolts.spacing_mm"
            )
        if count == 0 and nail.canal in ("void", "bracket"):
            yield (
                f"nail.bolts.{side} = 0: with its clearance void nothing holds the nail in the "
                f"{side} fragment (it slides and turns freely); use 1 bolt or more"
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


def _plate_findings(femur: Femur, defect: Defect, plate: Plate) -> Iterator[str]:
    gap = gap_levels(femur, defect)
    centre = sum(gap) / 2
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


def _nail_against_screws(femur: Femur, defect: Defect, nail: Nail, plate: Plate) -> Iterator[str]:
    centre = sum(gap_levels(femur, defect)) / 2
    outer, inner = outer_profile(femur), reamed_profile(femur, nail)
    keep_off = nail.diameter_mm / 2 + NAIL_CLEARANCE_MM
    placed = screws(plate, nail, outer, inner, centre)
    low = nail.distal_end_mm - plate.screws.diameter_mm
    high = nail.distal_end_mm + nail.length_mm + plate.screws.diameter_mm
    for screw in placed:
        passes = low < screw.height < high
        if passes and (is_bicortical(plate, nail) or screw.tip < keep_off):
            yield (
                f"plate screw at {screw.height:g} mm hits the nail: its tip is {screw.tip:.1f} mm "
                f"from the axis; allowed {keep_off:.1f} mm or more: use cortices = 'unicortical'"
            )
        if screw.tip > outer.at(screw.height) - LEAST_CORTEX_MM:
            yield (
                f"plate screw at {screw.height:g} mm misses the cortex: it holds "
                f"{outer.at(screw.height) - screw.tip:.1f} mm; allowed {LEAST_CORTEX_MM:g} mm or "
                "more: choose a thinner nail or a thicker cortex"
            )
    least = (plate.screws.diameter_mm + nail.bolts.diameter_mm) / 2 + LEAST_BETWEEN_MM
    turned = abs(sin(radians(plate.azimuth_deg - nail.bolts.azimuth_deg)))
    for screw, z in product(placed, bolt_levels(nail)):
        distance = hypot(screw.height - z, max(screw.tip, 0.0) * turned)
        if distance < least:
            yield (
                f"plate screw at {screw.height:g} mm hits the nail's bolt at {z:g} mm: "
                f"{distance:.1f} mm between their axes; allowed {least:g} mm or more: change the "
                "plate's shift_mm, holes or azimuth_deg"
            )
    yield from _plate_over_bolts(outer, nail, plate, centre)


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
