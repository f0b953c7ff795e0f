"""The nail and its interlocking bolts."""

from __future__ import annotations

from math import pi

from geometries.errors import StudyError
from geometries.femur import SAME_MM, Profile, rings
from geometries.parameters import Nail
from geometries.readout import Beam, Pin
from geometries.solids import Part, Piece, cylinder, radial

PROTRUSION_MM = 1.5


def bolt_levels(nail: Nail) -> list[float]:
    """Heights of the bolts from the knee upwards, mm."""
    low, high = nail.distal_end_mm, nail.distal_end_mm + nail.length_mm
    steps = [nail.bolts.first_mm + k * nail.bolts.spacing_mm for k in range(3)]
    distal = [low + step for step in steps[: nail.bolts.distal]]
    return distal + sorted(high - step for step in steps[: nail.bolts.proximal])


def nail_spans(nail: Nail) -> list[tuple[float, float]]:
    """Heights of the nail's ends, mm: one stretch, or two where it is broken."""
    low, high = nail.distal_end_mm, nail.distal_end_mm + nail.length_mm
    if nail.break_mm is None:
        return [(low, high)]
    half = nail.break_opening_mm / 2
    return [(low, nail.break_mm - half), (nail.break_mm + half, high)]


def nail_parts(nail: Nail, bone: Profile) -> list[Part]:
    """The tube, cut in the middle of its wall, then the bolts that paint over it.

    The cut makes every mesh two layers thick in the wall. Bolts stand 1.5 mm out of the bone at
    either side; their holes in nail and bone are their own size (tied).
    """
    middle = (nail.diameter_mm + nail.cannulation_mm) / 2
    wall = (nail.diameter_mm - nail.cannulation_mm) / 2
    tube = []
    for low, high in nail_spans(nail):
        outside, between, hole = (
            cylinder((0.0, 0.0, low), (0.0, 0.0, high - low), diameter)
            for diameter in (nail.diameter_mm, middle, nail.cannulation_mm)
        )
        tube += [Piece(outside, (between,)), Piece(between, (hole,))]
    parts = [Part("nail", "nail", nail.material, tuple(tube), wall)]
    radius = nail.bolts.diameter_mm / 2
    for number, z in enumerate(bolt_levels(nail), start=1):
        reach = bone.largest(z - radius, z + radius) + PROTRUSION_MM
        x, y, _ = radial(nail.bolts.azimuth_deg)
        base, along = (reach * x, reach * y, z), (-2 * reach * x, -2 * reach * y, 0.0)
        pin = cylinder(base, along, nail.bolts.diameter_mm)
        name = f"bolt_{number}"
        parts.append(Part(name, "bolt", nail.material, (Piece(pin),), nail.bolts.diameter_mm))
    return parts


def canal_part(nail: Nail, inner: Profile, gap: tuple[float, float], cortical: str) -> Part | None:
    """What lies between nail and bone: nothing, marrow, or bone that ties the nail where it fits.

    The nail fits where the canal is as wide as its bore. The tie leaves out the gap, which it would
    bridge.

    Raises
    ------
    StudyError
        If the nail is to be tied and the canal is wider everywhere.
    """
    if nail.canal == "void":
        return None
    low, high = nail.distal_end_mm, nail.distal_end_mm + nail.length_mm
    surface = Profile((low, high), (nail.diameter_mm / 2, nail.diameter_mm / 2))
    clearance = nail.reaming_mm / 2
    if nail.canal == "filler":
        return Part("canal", "canal", "marrow", rings(inner, surface, low, high), clearance)
    bore = nail.diameter_mm / 2 + clearance
    fits = [z for z, r in zip(inner.heights, inner.radii, strict=True) if r < bore + SAME_MM]
    start, end = (max(min(fits), low), min(max(fits), high)) if fits else (0.0, 0.0)
    spans = [(start, min(gap[0], end)), (max(gap[1], start), end)]
    tied = tuple(ring for a, b in spans if b > a + SAME_MM for ring in rings(inner, surface, a, b))
    if not tied:
        raise StudyError(
            f'nail.canal = "bonded": the canal is wider than the bore of {2 * bore:g} mm everywhere; '
            "allowed is a nail that fits somewhere: choose a thicker nail, or filler"
        )
    return Part("canal", "canal", cortical, tied, clearance)


def bolt_pins(nail: Nail) -> list[Pin]:
    """Where bolts are cut: the two shear planes in the void beside the nail."""
    plane = (nail.diameter_mm + nail.reaming_mm / 2) / 2
    return [
        Pin(f"bolt_{number}", z, nail.bolts.azimuth_deg, nail.bolts.diameter_mm,
            {"near_shear_plane": plane, "far_shear_plane": -plane})
        for number, z in enumerate(bolt_levels(nail), start=1)
    ]  # fmt: skip


def nail_beam(nail: Nail) -> Beam:
    """The nail's tube as a beam."""
    outer, inner = nail.diameter_mm, nail.cannulation_mm
    modulus = pi / 32 * (outer**4 - inner**4) / outer
    area = pi / 4 * (outer**2 - inner**2)
    return Beam("nail", area, ((1.0, 0.0), (0.0, 1.0)), (modulus, modulus), is_round=True)
