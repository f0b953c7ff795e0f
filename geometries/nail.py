"""The nail and its interlocking bolts."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot, pi

import numpy as np

from geometries.bone import Femur
from geometries.errors import StudyError
from geometries.femur import less, rings
from geometries.parameters import Nail
from geometries.profiles import Profile, canal_profile, outer_profile
from geometries.readout import Beam, Pin
from geometries.rods import SAME_MM, along_nail, axis_at
from geometries.solids import Frustum, Part, Piece, Points, Prism, Tool, cylinder, radial

PROTRUSION_MM = 1.5
SLOT_BEYOND_MM = 1.0
SLOT_POINTS = 24  # through the wall, for what a slot takes from its section
FIT_STEPS = 400


def bolt_levels(nail: Nail) -> list[float]:
    """Heights of the bolts from the knee upwards, mm."""
    low, high = nail.ends_mm
    steps = [nail.bolts.first_mm + k * nail.bolts.spacing_mm for k in range(3)]
    distal = [low + step for step in steps[: nail.bolts.distal]]
    return distal + sorted(high - step for step in steps[: nail.bolts.proximal])


def nail_spans(nail: Nail) -> list[tuple[float, float]]:
    """Heights of the nail's ends, mm: one stretch, or two where it is broken."""
    low, high = nail.ends_mm
    if nail.break_mm is None:
        return [(low, high)]
    half = nail.break_opening_mm / 2
    return [(low, nail.break_mm - half), (nail.break_mm + half, high)]


def nail_parts(nail: Nail, bone: Profile) -> list[Part]:
    """The tube, cut in the middle of its wall, then the bolts that paint over it.

    The cut makes every mesh two layers thick in the wall. Bolts stand 1.5 mm out of the bone at
    either side; their holes in nail and bone are their own size, whatever their play.
    """
    wall = (nail.diameter_mm - nail.cannulation_mm) / 2
    middle, slot = (nail.diameter_mm + nail.cannulation_mm) / 2, _slot(nail)
    tube = []
    for low, high in nail_spans(nail):
        outside, between = (along_nail(nail, low, high, d) for d in (nail.diameter_mm, middle))
        hole: tuple[Tool, ...] = ()
        if nail.cannulation_mm > 0:
            hole = (along_nail(nail, low, high, nail.cannulation_mm),)
        tube += [Piece(outside, (between, *slot)), Piece(between, (*hole, *slot))]
    parts = [Part("nail", "nail", nail.material, tuple(tube), wall)]
    for number, bolt in enumerate(bolts(nail, bone), start=1):
        name = f"bolt_{number}"
        parts.append(Part(name, "bolt", nail.material, (Piece(bolt),), nail.bolts.diameter_mm))
    return parts


def bolts(nail: Nail, bone: Profile) -> list[Frustum]:
    """The bolts from the knee upwards, each through the nail's axis, as cylinders."""
    made = []
    radius, (x, y, _) = nail.bolts.diameter_mm / 2, radial(nail.bolts.azimuth_deg)
    for z in bolt_levels(nail):
        reach = bone.largest(z - radius, z + radius) + PROTRUSION_MM
        u, v = axis_at(nail, z)
        near, far = _chord((u, v), (x, y), reach)
        base, along = (u + near * x, v + near * y, z), ((far - near) * x, (far - near) * y, 0.0)
        made.append(cylinder(base, along, nail.bolts.diameter_mm))
    return made


def _chord(point: tuple[float, float], out: tuple[float, float], radius: float) -> tuple[float, float]:
    """Distances from a point, along a direction and against it, at which a line leaves a circle."""
    along = point[0] * out[0] + point[1] * out[1]
    half = (along**2 - point[0] ** 2 - point[1] ** 2 + radius**2) ** 0.5
    return half - along, -half - along


def _slot(nail: Nail) -> tuple[Prism, ...]:
    """What a slot takes out of the wall on its side, from below the distal end upwards.

    It follows the nail's axis, which may lie beside the shaft axis and be tilted.
    """
    if nail.slot_mm is None:
        return ()
    low, high = nail.distal_end_mm - SLOT_BEYOND_MM, _slot_top(nail)
    (x, y, _), reach = radial(nail.slot_azimuth_deg), nail.diameter_mm
    (a, b), (c, d) = axis_at(nail, low), axis_at(nail, high)
    start, end = a * x + b * y, c * x + d * y
    beside, lean = b * x - a * y, ((d - b) * x - (c - a) * y) / (high - low)
    outline = ((start, low), (start + reach, low), (end + reach, high), (end, high))
    aside = (beside - lean * low, lean)
    return (Prism(outline, nail.slot_azimuth_deg, nail.slot_mm, aside),)


def canal_part(nail: Nail, femur: Femur, gap: tuple[float, float]) -> Part | None:
    """What lies between nail and bone: nothing, marrow, or bone that ties the nail where it fits.

    Cortex, cores and tissue paint over it. The tie leaves out the gap, which it would bridge.

    Raises
    ------
    StudyError
        If the nail is to be tied and the canal is wider everywhere.
    """
    if nail.canal in ("void", "contact"):
        return None
    low, high = nail.ends_mm
    surface = along_nail(nail, low - SLOT_BEYOND_MM, high + SLOT_BEYOND_MM, nail.diameter_mm)
    clearance = nail.clearance_mm
    if nail.canal == "filler":
        pieces = less(rings(outer_profile(femur), None, low, high), surface)
        return Part("canal", "canal", "marrow", pieces, clearance)
    fit = fit_span(nail, femur)
    spans = [] if fit is None else [(fit[0], min(gap[0], fit[1])), (max(gap[1], fit[0]), fit[1])]
    outer = outer_profile(femur)
    tied = [ring for a, b in spans if b > a + SAME_MM for ring in rings(outer, None, a, b)]
    if not tied:
        width = nail.bore_mm
        raise StudyError(
            f'nail.canal = "bonded": the canal is wider than the bore of {width:g} mm everywhere; '
            "allowed is a nail that fits somewhere: choose a thicker nail, or filler"
        )
    return Part("canal", "canal", femur.cortical, less(tuple(tied), surface), clearance)


def fit_span(nail: Nail, femur: Femur) -> tuple[float, float] | None:
    """Heights between which reaming for the nail meets cortex, mm; None where the canal is wider."""
    low, high = nail.ends_mm
    radius, canal = nail.bore_mm / 2, canal_profile(femur)

    def excess(z: float) -> float:
        return hypot(*axis_at(nail, z)) + radius - canal.at(z)

    heights = np.linspace(low, high, FIT_STEPS)
    fits = [k for k, z in enumerate(heights) if excess(float(z)) >= 0]
    if not fits:
        return None
    return _cross(excess, heights, fits[0], -1), _cross(excess, heights, fits[-1], 1)


def _cross(excess: Callable[[float], float], heights: Points, index: int, step: int) -> float:
    """Height beside the last fitting one at which the fit ends, by straight lines between."""
    inside = float(heights[index])
    if not 0 <= index + step < len(heights):
        return inside
    outside = float(heights[index + step])
    a, b = excess(inside), excess(outside)
    return inside + a / (a - b) * (outside - inside)


def bolt_pins(nail: Nail) -> list[Pin]:
    """Where bolts are cut: the two shear planes in the void beside the nail."""
    out, plane = radial(nail.bolts.azimuth_deg), (nail.diameter_mm + nail.reaming_mm / 2) / 2
    made = []
    for number, z in enumerate(bolt_levels(nail), start=1):
        x, y = axis_at(nail, z)
        along = x * out[0] + y * out[1]
        foot = (x - along * out[0], y - along * out[1], z)
        planes = {"near_shear_plane": along + plane, "far_shear_plane": along - plane}
        made.append(Pin(f"bolt_{number}", foot, out, nail.bolts.diameter_mm, planes))
    return made


def nail_beam(nail: Nail, level: float) -> Beam:
    """The nail's tube as a beam, at the level of the gap, less its slot where that reaches so far.

    Area and moments of a sector ring are integrals over its radius (any handbook): at radius r a slot
    takes an arc of half-angle a, with sin a = width / 2r. Its loss moves the section's own axis away
    from it. Bending about both axes adds as in a tube, at the fibre farthest from each.
    """
    outer, inner, foot = nail.diameter_mm / 2, nail.cannulation_mm / 2, axis_at(nail, level)
    area, second = pi * (outer**2 - inner**2), pi / 4 * (outer**4 - inner**4)
    if nail.slot_mm is None or level > _slot_top(nail):
        return Beam("nail", area, ((1.0, 0.0), (0.0, 1.0)), (second / outer,) * 2, True, foot)
    nodes, shares = np.polynomial.legendre.leggauss(SLOT_POINTS)
    r, weights = (outer + inner) / 2 + nodes * (outer - inner) / 2, shares * (outer - inner) / 2
    half, sine = np.arcsin(nail.slot_mm / 2 / r), nail.slot_mm / 2 / r
    lost, first, along, across = (
        float(weights @ one)
        for one in (
            2 * half * r, 2 * sine * r**2, (half + sine * np.cos(half)) * r**3,
            (half - sine * np.cos(half)) * r**3,
        )
    )  # fmt: skip
    x, y, _ = radial(nail.slot_azimuth_deg)
    shift = first / (area - lost)
    edge = (outer**2 - nail.slot_mm**2 / 4) ** 0.5
    through = (second - across) / outer
    beside = (second - along - first * shift) / max(outer - shift, edge + shift)
    axes, moved = ((x, y), (-y, x)), (foot[0] - shift * x, foot[1] - shift * y)
    return Beam("nail", area - lost, axes, (through, beside), True, moved)


def _slot_top(nail: Nail) -> float:
    """Height at which the slot ends, mm; beyond the nail where it runs through."""
    share = nail.slot_percent / 100
    return nail.distal_end_mm + share * nail.length_mm + (SLOT_BEYOND_MM if share == 1 else 0.0)
