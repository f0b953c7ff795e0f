"""Where surfaces can touch: rod and canal, bolts in their holes, bone ends, plates over the bone.

The stops lie so close that a movement which keeps clear of all of them keeps clear everywhere; who
solves takes up the few that bear.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.bone import Defect, Femur
from geometries.canal import bars, canal_stops, walls_of_canal
from geometries.defect import bone_ends, gap_centre
from geometries.faces import Face
from geometries.femur import core_spans
from geometries.frame import Vector, radial
from geometries.nail import bolt_levels
from geometries.parameters import Nail, Stem
from geometries.plate import plate_span
from geometries.plating import Plate
from geometries.profiles import Profile, canal_profile, outer_profile
from geometries.rods import axis_at
from geometries.stops import SAME_MM, Line, Round, Spot, Stop

STEP_MM = 2.5  # between the heights at which a plate is watched
TURNS = 32  # azimuths round the rim of a bone end
RIM_SPOT_MM, PLATE_SPOT_MM = 5.0, 3.0
RELIEVES_MM = 15.0  # along the rim of a bone end, about its radius
RINGS = 3  # from the rim of a bone end to its canal, where rough ends do not fit each other
SAMPLES = 5
UP: Vector = (0.0, 0.0, 1.0)
SIDES = ("distal", "proximal")
BONES = tuple((f"cortex_{side}", f"cancellous_{side}") for side in SIDES)


def stops(
    femur: Femur,
    defect: Defect,
    rod: Nail | Stem | None,
    plates: dict[str, Plate],
    sections: tuple[float, float],
) -> tuple[Stop, ...]:
    """All places of a construct where surfaces can touch.

    Parameters
    ----------
    femur, defect, rod :
        Bone, gap and what stands in the canal.
    plates : dict of str to Plate
        Plates by the names of their parts.
    sections : (float, float)
        Heights of the reference sections, mm.

    Raises
    ------
    StudyError
        If surfaces overlap before anything moves.
    """
    ends = bone_ends(femur, defect)
    found: list[Stop] = []
    if rod is not None and (rods := bars(rod, femur.length_mm)):
        part = "nail" if isinstance(rod, Nail) else "stem"
        walls = walls_of_canal(femur, rod, core_spans(femur, rod, ends, sections))
        for side, face in zip(SIDES, ends, strict=True):
            found += canal_stops(side, face, walls, rods, part)
    if isinstance(rod, Nail) and rod.bolts.fit == "play":
        found += _in_holes(rod)
    if defect.bone_ends == "contact":
        found += _between_ends(femur, ends)
    for name, plate in plates.items():
        if plate.on_bone == "offset":
            found += _under(plate, name, outer_profile(femur), ends, gap_centre(femur, defect))
    for stop in found:
        stop.check()
    return tuple(found)


def _in_holes(nail: Nail) -> Iterator[Stop]:
    """Bolts at the rims of the nail's holes, and what keeps the nail from sliding along them.

    A hole's rim lies where the tube's surface is: farthest from the nail's axis above and below the
    bolt, nearer beside it, where the tube curves away.
    """
    radius, bolt = nail.diameter_mm / 2, nail.bolts.diameter_mm / 2
    bore, out = nail.cannulation_mm / 2, radial(nail.bolts.azimuth_deg)
    beside: Vector = (-out[1], out[0], 0.0)
    middle, lever = (radius + bore) / 2, (radius**2 - bolt**2) ** 0.5
    rims = [(middle, radius, lever, radius), (bore, middle, bore, bore)][: 1 + (bore > 0)]
    for number, z in enumerate(bolt_levels(nail), start=1):
        parts = ("nail",), (f"bolt_{number}",)
        base: Vector = (*axis_at(nail, z), z)
        axis = Line(base, out, out)

        def windows(low: float, high: float, axis: Line = axis) -> tuple[Round, Round]:
            low, high = min(low, high), max(low, high)
            return Round(axis, low, high, bolt, False), Round(axis, low, high, bolt, True)

        for side in (1.0, -1.0):
            for low, high, *levers in rims:
                points = tuple(_along(base, out, side * far) for far in levers)
                yield Stop(
                    f"bolt_{number}",
                    parts,
                    windows(side * low, side * high),
                    points,
                    (beside, UP),
                    nail.bolts.play_mm / 2,
                    (0.0, 0.0),
                    relieves_mm=0.9 * radius,
                )
        if nail.bolts.along == "held":
            yield Stop(
                f"bolt_{number}", parts, windows(-radius, radius), (base,), (out,), 0.0, (0.0,),
                relieves_mm=0.0,
            )  # fmt: skip


def _along(base: Vector, direction: Vector, far: float) -> Vector:
    x, y, z = (a + far * b for a, b in zip(base, direction, strict=True))
    return x, y, z


def _between_ends(femur: Femur, ends: tuple[Face, Face]) -> Iterator[Stop]:
    """Spots round the rim of the two bone ends; further in as well where rough ends are unlike."""
    lower, upper = ends
    middle = lower.towards(upper, 0.5)
    normal = middle.normal
    down: Vector = (-normal[0], -normal[1], -normal[2])
    outer = outer_profile(femur)
    is_unlike = lower.waves != upper.waves
    inner = canal_profile(femur).at(middle.height)
    for turn in np.arange(TURNS) * 360 / TURNS:
        x, y, _ = radial(float(turn))
        rim = outer.at(middle.height)
        for _ in range(3):  # a steep gap runs up the flare
            rim = outer.at(float(middle.at(rim * x, rim * y)))
        for share in np.linspace(1.0, inner / rim, RINGS if is_unlike else 1):
            u, v = float(share * rim * x), float(share * rim * y)
            point: Vector = (u, v, float(middle.at(u, v)))
            low, high = (float(face.at(u, v)) for face in ends)
            yield Stop(
                "bone_ends",
                (BONES[1], BONES[0]),
                (Spot((u, v, high), down, RIM_SPOT_MM), Spot((u, v, low), normal, RIM_SPOT_MM)),
                points=(point,),
                directions=(normal,),
                clearance=_narrowest(ends, (u, v), rim) * normal[2],
                rest=(0.0,),
                is_one_sided=True,
                relieves_mm=RELIEVES_MM,
            )


def _narrowest(ends: tuple[Face, Face], spot: tuple[float, float], rim: float) -> float:
    """Least distance of the bone ends along the shaft over a spot within the rim, mm."""
    lower, upper = ends
    if lower.waves == upper.waves:
        return float(upper.at(*spot) - lower.at(*spot))
    steps = np.linspace(-RIM_SPOT_MM, RIM_SPOT_MM, 2 * SAMPLES + 1)
    x, y = np.meshgrid(spot[0] + steps, spot[1] + steps)
    near = (np.hypot(x - spot[0], y - spot[1]) <= RIM_SPOT_MM) & (np.hypot(x, y) <= rim + SAME_MM)
    return float((upper.at(x, y) - lower.at(x, y))[near].min())


def _under(
    plate: Plate, name: str, outer: Profile, ends: tuple[Face, Face], centre: float
) -> Iterator[Stop]:
    """Spots along the middle of a plate's underside, over either bone end; the edges are among them."""
    low, high = plate_span(plate, centre)
    out = radial(plate.azimuth_deg)
    back: Vector = (-out[0], -out[1], 0.0)
    for number, (side, face) in enumerate(zip(SIDES, ends, strict=True)):
        edge = face.height
        for _ in range(3):
            edge = float(face.at(outer.at(edge) * out[0], outer.at(edge) * out[1]))
        start, end = (low, min(edge, high)) if number == 0 else (max(edge, low), high)
        if end <= start:
            continue
        for z in np.linspace(start, end, 1 + max(int(np.ceil((end - start) / STEP_MM)), 1)).tolist():
            on_bone = _along((0.0, 0.0, z), out, outer.at(z))
            under = _along(on_bone, out, plate.offset_mm)
            yield Stop(
                f"{name}_{side}",
                ((name,), BONES[number]),
                (Spot(under, back, PLATE_SPOT_MM), Spot(on_bone, out, PLATE_SPOT_MM)),
                points=(on_bone,),
                directions=(out,),
                clearance=plate.offset_mm,
                rest=(0.0,),
                is_one_sided=True,
            )
