"""The plate, its holes and its locking screws."""

from __future__ import annotations

from dataclasses import dataclass

from geometries.femur import Profile
from geometries.parameters import Nail, Plate
from geometries.readout import Beam, Pin
from geometries.solids import Frustum, Part, Piece, Prism, cylinder, radial

HEAD_MM = 1.0
TIP_BEYOND_MM = 2.0
TIP_SHORT_MM = 1.5
PAD_DEPTH_MM = 0.5
NAIL_CLEARANCE_MM = 0.5


@dataclass(frozen=True)
class Screw:
    """A screw along the radius at an azimuth: height and the two ends' distances from the axis."""

    height: float
    head: float
    tip: float

    def solid(self, plate: Plate) -> Frustum:
        """The screw as a cylinder from head to tip."""
        x, y, _ = radial(plate.azimuth_deg)
        base = (self.head * x, self.head * y, self.height)
        length = self.tip - self.head
        return cylinder(base, (length * x, length * y, 0.0), plate.screws.diameter_mm)


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


def is_bicortical(plate: Plate, nail: Nail | None) -> bool:
    """Whether screws reach the far cortex."""
    cortices = plate.screws.cortices
    return cortices == "bicortical" or (cortices == "auto" and nail is None)


def screws(
    plate: Plate, nail: Nail | None, outer: Profile, inner: Profile, gap_height: float
) -> list[Screw]:
    """Place every screw.

    A bicortical screw ends 2 mm beyond the far cortex. A unicortical one passes the near cortex by
    1.5 mm where the canal leaves that room beside the nail and otherwise stops 1.5 mm short of it.
    """
    radius = plate.screws.diameter_mm / 2
    result = []
    for z in screw_levels(plate, gap_height):
        surface = outer.largest(z - radius, z + radius)
        if is_bicortical(plate, nail):
            tip = -(surface + TIP_BEYOND_MM)
        else:
            canal = inner.at(z)
            keep_off = 0.0 if nail is None else nail.diameter_mm / 2 + NAIL_CLEARANCE_MM
            has_room = canal - TIP_SHORT_MM >= keep_off + radius / 2
            tip = canal - TIP_SHORT_MM if has_room else canal + TIP_SHORT_MM
        head = surface + plate.offset_mm + plate.thickness_mm + HEAD_MM
        result.append(Screw(z, head, tip))
    return result


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
        Screw(z, surface[0][0] + 40, 0.0).solid(plate)
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
        piece = Piece(screw.solid(plate))
        parts.append(
            Part(f"screw_{number}", "screw", plate.material, (piece,), plate.screws.diameter_mm)
        )
    return parts


def pad_part(
    plate: Plate, outer: Profile, gap: tuple[float, float], label: Label, cortical: str
) -> Part | None:
    """Bone that ties a plate to the shaft on either side of the gap; None for a plate held off.

    It reaches into the cortex, which paints over it, so far that it meets the round surface under the
    plate's edges too.
    """
    if plate.on_bone == "offset":
        return None
    low, high = plate_span(plate, sum(gap) / 2)
    pieces = []
    for start, end in ((low, gap[0]), (gap[1], high)):
        heights = [start, *[z for z in outer.heights if start < z < end], end]
        outside = [(outer.at(z) + plate.offset_mm, z) for z in heights]
        half = plate.width_mm / 2
        inside = [((outer.at(z) ** 2 - half**2) ** 0.5 - PAD_DEPTH_MM, z) for z in heights]
        outline = (*inside, *reversed(outside))
        pieces.append(Piece(Prism(outline, plate.azimuth_deg, plate.width_mm)))
    return Part(f"pad_{label.name}", "pad", cortical, tuple(pieces), plate.offset_mm)


def screw_pins(
    plate: Plate, placed: list[Screw], outer: Profile, inner: Profile, label: Label
) -> list[Pin]:
    """Where screws are cut: between plate and bone, and in the middle of the near cortex."""
    pins = []
    for number, screw in enumerate(placed, start=label.first):
        surface, canal = outer.at(screw.height), inner.at(screw.height)
        planes = {
            "plate_gap": surface + plate.offset_mm / 2,
            "near_cortex": max((surface + canal) / 2, screw.tip + plate.screws.diameter_mm / 2),
        }
        pins.append(
            Pin(f"screw_{number}", screw.height, plate.azimuth_deg, plate.screws.diameter_mm, planes)
        )
    return pins


def plate_beam(plate: Plate, label: Label) -> Beam:
    """The plate between its holes as a beam."""
    width, thickness = plate.width_mm, plate.thickness_mm
    x, y, _ = radial(plate.azimuth_deg)
    flat, on_edge = width * thickness**2 / 6, thickness * width**2 / 6
    return Beam(label.name, width * thickness, ((-y, x), (x, y)), (flat, on_edge), is_round=False)
