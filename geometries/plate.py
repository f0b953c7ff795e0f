"""The plate, its holes and its locking screws."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, degrees, hypot, sin, tan

import numpy as np

from geometries.femur import rings
from geometries.plating import Plate
from geometries.profiles import Profile, Walls
from geometries.readout import Beam, Pin
from geometries.rods import centre_at, radius_at
from geometries.solids import Frustum, Part, Piece, Prism, Vector, cylinder, radial

HEAD_MM = 1.0
TIP_BEYOND_MM = 2.0
TIP_SHORT_MM = 1.5
PAD_DEPTH_MM = 1.0
ROD_CLEARANCE_MM = 0.5


@dataclass(frozen=True)
class Screw:
    """A screw across the shaft, along a line that may pass beside the shaft axis.

    Parameters
    ----------
    height : float
        mm.
    azimuth_deg : float
        Side of the bone from which the line comes, degrees.
    aside : float
        Distance at which the line passes the shaft axis, counted towards larger azimuths, mm.
    head, tip : float
        Where it begins and ends along the line, from the line's point nearest to the axis, mm.
    """

    height: float
    azimuth_deg: float
    aside: float
    head: float
    tip: float

    @property
    def foot(self) -> Vector:
        """The line's point nearest to the shaft axis, mm."""
        x, y, _ = radial(self.azimuth_deg + 90)
        return (self.aside * x, self.aside * y, self.height)

    def solid(self, diameter: float) -> Frustum:
        """The screw as a cylinder from head to tip."""
        (x, y, _), (u, v, z) = radial(self.azimuth_deg), self.foot
        length = self.tip - self.head
        base = (u + self.head * x, v + self.head * y, z)
        return cylinder(base, (length * x, length * y, 0.0), diameter)


def plate_span(plate: Plate, gap_height: float) -> tuple[float, float]:
    """Heights of the plate's ends, mm."""
    centre = gap_height + plate.shift_mm
    return centre - plate.length_mm / 2, centre + plate.length_mm / 2


def hole_levels(plate: Plate, gap_height: float) -> list[float]:
    """Heights of all holes from the knee upwards, mm."""
    low, _ = plate_span(plate, gap_height)
    return [low + (k + 0.5) * plate.pitch_mm for k in range(plate.hole_count)]


def screw_levels(plate: Plate, gap_height: float) -> list[float]:
    """Heights of the filled holes from the knee upwards, mm."""
    levels, half = hole_levels(plate, gap_height), plate.hole_count // 2
    return sorted(
        level for hole in plate.screws.holes for level in (levels[half - hole], levels[half + hole - 1])
    )


def screws(plate: Plate, rods: list[Frustum], bone: Walls, gap_height: float) -> list[Screw]:
    """Place every screw.

    One that nothing stands in the way of ends 2 mm beyond the far cortex, unless all are to be
    unicortical. Beside a rod a unicortical one passes the near cortex by 1.5 mm where the canal leaves
    that room and otherwise stops 1.5 mm short of it; a tangential one turns in its hole until it passes
    the rod with 0.5 mm to spare.
    """
    radius, cortices = plate.screws.diameter_mm / 2, plate.screws.cortices
    result: list[Screw] = []
    for z in screw_levels(plate, gap_height):
        surface = bone.outer.largest(z - radius, z + radius)
        met = [rod for rod in rods if in_the_way(rod, z, radius)]
        outside = surface + plate.offset_mm + plate.thickness_mm + HEAD_MM
        if cortices == "bicortical" or (cortices != "unicortical" and not met):
            result.append(Screw(z, plate.azimuth_deg, 0.0, outside, -(surface + TIP_BEYOND_MM)))
        elif cortices == "tangential":
            result.append(_past(plate, met[0], surface, z, -1 if len(result) % 2 else 1))
        else:
            tip = _short_of(plate, met, bone, z)
            result.append(Screw(z, plate.azimuth_deg, 0.0, outside, tip))
    return result


def in_the_way(rod: Frustum, z: float, radius: float) -> bool:
    """Whether a rod reaches the height of a screw."""
    reach = radius + ROD_CLEARANCE_MM
    return rod.base[2] - reach < z < rod.base[2] + rod.axis[2] + reach


def _short_of(plate: Plate, met: list[Frustum], bone: Walls, z: float) -> float:
    """Where a unicortical screw ends, as a distance from the shaft axis, mm."""
    x, y, _ = radial(plate.azimuth_deg)
    canal, keep_off = bone.inner.at(z), 0.0
    for rod in met:
        u, v = centre_at(rod, z)
        towards = u * x + v * y
        keep_off = max(keep_off, towards + radius_at(rod, z) + ROD_CLEARANCE_MM)
        canal = max(canal, towards + radius_at(rod, z) + bone.reamed)
    has_room = canal - TIP_SHORT_MM >= keep_off + plate.screws.diameter_mm / 4
    return canal - TIP_SHORT_MM if has_room else canal + TIP_SHORT_MM


def _past(plate: Plate, rod: Frustum, surface: float, z: float, side: int) -> Screw:
    """A screw that leaves its hole at the angle at which it just passes a rod on one side.

    The tangent from a point to a circle turns from the line to its centre by the arc sine of radius
    over distance.
    """
    pivot = surface + plate.offset_mm + plate.thickness_mm / 2
    out, across = (np.array(radial(plate.azimuth_deg + turn)[:2]) for turn in (0, 90))
    centre = np.array(centre_at(rod, z))
    along, beside = pivot - float(centre @ out), float(centre @ across)
    keep_off = radius_at(rod, z) + plate.screws.diameter_mm / 2 + ROD_CLEARANCE_MM
    angle = side * asin(min(keep_off / hypot(along, beside), 1.0)) + atan2(beside, along)
    half = plate.thickness_mm / 2 + HEAD_MM
    rise = half / cos(angle) + plate.screws.diameter_mm / 2 * abs(tan(angle))
    aside = pivot * sin(angle)
    through = pivot * cos(angle)
    far = max((surface**2 - aside**2), 0.0) ** 0.5 + TIP_BEYOND_MM
    return Screw(z, plate.azimuth_deg - degrees(angle), aside, through + rise, -far)


@dataclass(frozen=True)
class Label:
    """Name of a plate and number of its first screw: a second plate's follow the first's."""

    name: str = "plate"
    first: int = 1


def plate_parts(
    plate: Plate, placed: list[Screw], outer: Profile, gap_height: float, label: Label
) -> list[Part]:
    """The plate in two layers with its empty holes, then the screws that paint over it."""
    low, high = plate_span(plate, gap_height)
    heights = [low, *[z for z in outer.heights if low < z < high], high]
    surface = [(outer.at(z) + plate.offset_mm, z) for z in heights]
    filled = {screw.height for screw in placed}
    empty = tuple(
        Screw(z, plate.azimuth_deg, 0.0, surface[0][0] + 40, 0.0).solid(plate.screws.diameter_mm)
        for z in hole_levels(plate, gap_height)
        if z not in filled
    )
    half = plate.thickness_mm / 2
    layers = []
    for step in (0.0, half):
        inside = [(r + step, z) for r, z in surface]
        outside = [(r + step + half, z) for r, z in reversed(surface)]
        prism = Prism((*inside, *outside), plate.azimuth_deg, plate.width_mm)
        layers.append(Piece(prism, empty))
    parts = [Part(label.name, "plate", plate.material, tuple(layers), plate.thickness_mm)]
    for number, screw in enumerate(placed, start=label.first):
        diameter, name = plate.screws.diameter_mm, f"screw_{number}"
        piece = Piece(screw.solid(diameter))
        parts.append(Part(name, "screw", plate.material, (piece,), diameter))
    return parts


def pad_part(
    plate: Plate, bone: Walls, gap: tuple[float, float, float], label: Label, cortical: str
) -> Part | None:
    """Bone that ties a plate to the shaft on either side of the gap; None for a plate held off.

    The gap is given by its lowest level, its centre and its highest level, mm.

    It reaches a little under the bone's round surface, where the cortex paints over it, and so never
    comes near the canal.
    """
    if plate.on_bone == "offset":
        return None
    outer, (bottom, centre, top) = bone.outer, gap
    low, high = plate_span(plate, centre)
    under = Profile(outer.heights, tuple(r - PAD_DEPTH_MM for r in outer.radii))
    pieces = []
    for start, end in ((low, bottom), (top, high)):
        heights = [start, *[z for z in outer.heights if start < z < end], end]
        outside = [(outer.at(z) + plate.offset_mm, z) for z in heights]
        half = plate.width_mm / 2
        inside = [((under.at(z) ** 2 - half**2) ** 0.5 - PAD_DEPTH_MM, z) for z in heights]
        outline = (*inside, *reversed(outside))
        shaft = tuple(ring.solid for ring in rings(under, None, start, end))
        pieces.append(Piece(Prism(outline, plate.azimuth_deg, plate.width_mm), shaft))
    return Part(f"pad_{label.name}", "pad", cortical, tuple(pieces), plate.offset_mm)


def screw_pins(plate: Plate, placed: list[Screw], bone: Walls, label: Label) -> list[Pin]:
    """Where screws are cut: between plate and bone, and in the middle of the near cortex."""
    pins = []
    for number, screw in enumerate(placed, start=label.first):
        surface, canal = bone.outer.at(screw.height), bone.inner.at(screw.height)
        middle = max((surface + canal) / 2, (surface + abs(screw.aside)) / 2)
        planes = {
            "plate_gap": _along(screw, surface + plate.offset_mm / 2),
            "near_cortex": max(_along(screw, middle), screw.tip + plate.screws.diameter_mm / 2),
        }
        axis = radial(screw.azimuth_deg)
        pins.append(Pin(f"screw_{number}", screw.foot, axis, plate.screws.diameter_mm, planes))
    return pins


def _along(screw: Screw, radius: float) -> float:
    """Distance along a screw at which it is a radius away from the shaft axis, mm."""
    return (radius**2 - screw.aside**2) ** 0.5


def plate_beam(plate: Plate, label: Label) -> Beam:
    """The plate between its holes as a beam."""
    width, thickness = plate.width_mm, plate.thickness_mm
    x, y, _ = radial(plate.azimuth_deg)
    flat, on_edge = width * thickness**2 / 6, thickness * width**2 / 6
    return Beam(label.name, width * thickness, ((-y, x), (x, y)), (flat, on_edge), is_round=False)
