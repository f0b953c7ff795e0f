"""Where a rod can touch the wall of its canal: stops along every stretch that both have in common."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise, product
from math import hypot

import numpy as np

from geometries.bone import Femur
from geometries.faces import Face
from geometries.frame import Vector, radial
from geometries.nail import nail_spans
from geometries.parameters import Nail, Stem
from geometries.profiles import eccentric_hole, reamed_profile
from geometries.rods import SAME_MM, axis_at
from geometries.stops import Line, Round, Spot, Stop

STEP_MM = 2.5  # between the heights that are watched
WINDOW_MM = 5.0  # length of a window along the shaft
TURNS = 32  # azimuths at which the edge of a bone end is watched that is not level
SPOT_MM = 5.0
ACROSS: tuple[Vector, Vector] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
UP: Vector = (0.0, 0.0, 1.0)
Spans = Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Circle:
    """A level circle: centre x and y, height, radius, mm."""

    x: float
    y: float
    z: float
    radius: float


@dataclass(frozen=True)
class Stretch:
    """A round bar or hole between two level circles, straight from one to the other."""

    low: Circle
    high: Circle

    def at(self, z: float) -> Circle:
        """Its circle at a height."""
        share, low, high = (z - self.low.z) / (self.high.z - self.low.z), self.low, self.high
        x, y, radius = (
            a + share * (b - a)
            for a, b in ((low.x, high.x), (low.y, high.y), (low.radius, high.radius))
        )
        return Circle(x, y, z, radius)

    def window(self, low: float, high: float, *, is_outside: bool) -> Round:
        """What lies between two heights."""
        foot, top = self.at(0.0), self.at(1.0)
        axis = Line((foot.x, foot.y, 0.0), UP, (top.x - foot.x, top.y - foot.y, 1.0))
        return Round(axis, low, high, self.at((low + high) / 2).radius, is_outside)


def bars(rod: Nail | Stem, length: float) -> list[Stretch]:
    """The stretches of a rod that stand free in the canal of a femur of a length, mm."""
    if isinstance(rod, Nail):
        return [
            Stretch(*(Circle(*axis_at(rod, z), z, rod.diameter_mm / 2) for z in span))
            for span in (nail_spans(rod) if rod.canal == "contact" else ())
        ]
    tip, bonded = length - rod.length_mm, length - rod.ingrown_percent / 100 * rod.length_mm
    if rod.fixation == "cemented" or bonded < tip + SAME_MM:
        return []
    ends = ((tip, rod.tip_diameter_mm), (length, rod.top_diameter_mm))
    whole = Stretch(*(Circle(0.0, 0.0, z, diameter / 2) for z, diameter in ends))
    return [Stretch(whole.low, whole.at(bonded))]


def walls_of_canal(femur: Femur, rod: Nail | Stem, cores: Spans) -> list[Stretch]:
    """The canal's wall: a nail's bore where there is a cancellous core, else the reamed canal."""
    if isinstance(rod, Nail) and not rod.is_centred:
        circles = [Circle(*circle) for circle in eccentric_hole(femur, rod).circles]
    else:
        profile = reamed_profile(femur, rod)
        circles = [Circle(0.0, 0.0, *one) for one in zip(profile.heights, profile.radii, strict=True)]
    hole = [Stretch(low, high) for low, high in pairwise(circles) if high.z > low.z + SAME_MM]
    if isinstance(rod, Stem):
        return hole
    bored = [
        Stretch(*(Circle(*axis_at(rod, z), z, rod.bore_mm / 2) for z in span))
        for span in cores.values()
    ]
    return bored + [left for one in hole for left in _outside(one, list(cores.values()))]


def _outside(stretch: Stretch, spans: list[tuple[float, float]]) -> Iterator[Stretch]:
    """What of a stretch lies between no two of some heights."""
    low, high = stretch.low.z, stretch.high.z
    marks = sorted({low, high, *(z for span in spans for z in span if low < z < high)})
    for start, end in pairwise(marks):
        if not any(a < (start + end) / 2 < b for a, b in spans):
            yield Stretch(stretch.at(start), stretch.at(end))


def canal_stops(
    side: str, face: Face, walls: list[Stretch], rods: list[Stretch], part: str
) -> Iterator[Stop]:
    """Stops between a rod and the canal of one bone fragment.

    Parameters
    ----------
    side : {"distal", "proximal"}
        The fragment.
    face : Face
        Its bone end.
    walls, rods : list of Stretch
        The canal's wall and the rod.
    part : str
        The rod's part.
    """
    parts = (part,), (f"cortex_{side}", f"cancellous_{side}")
    for wall, bar in product(walls, rods):
        low, high = _complete(wall, face, is_below=side == "distal")
        low, high = max(low, bar.low.z), min(high, bar.high.z)
        if high > low + SAME_MM:
            for z in _heights(low, high):
                yield _ring(f"canal_{side}", parts, (bar, wall), z, (low, high))
    if not face.is_level:
        yield from _edge(f"canal_{side}", parts, face, walls, rods)


def _complete(wall: Stretch, face: Face, *, is_below: bool) -> tuple[float, float]:
    """Heights between which a wall goes all the way round on its side of a bone end."""
    beside = wall.at(min(max(face.height, wall.low.z), wall.high.z))
    bottom, top = face.extent(hypot(beside.x, beside.y) + beside.radius)
    if is_below:
        return wall.low.z, min(wall.high.z, face.height if face.is_level else bottom)
    return max(wall.low.z, face.height if face.is_level else top), wall.high.z


def _heights(low: float, high: float) -> list[float]:
    """Heights from one to the other, both among them, a step apart at most."""
    count = 1 + int(np.ceil((high - low) / STEP_MM - SAME_MM))
    return np.linspace(low, high, max(count, 2)).tolist()


def _ring(
    touch: str,
    parts: tuple[tuple[str, ...], tuple[str, ...]],
    stretches: tuple[Stretch, Stretch],
    z: float,
    limits: tuple[float, float],
) -> Stop:
    """A ring of the rod against the same ring of the wall, read at a height.

    At a limit, an edge, the window reaches away from it and is still read there: that is where edges
    bear.
    """
    bar, wall = stretches
    low = max(min(z - WINDOW_MM / 2, limits[1] - WINDOW_MM), limits[0])
    high = min(low + WINDOW_MM, limits[1])
    inner, outer = bar.at(z), wall.at(z)
    return Stop(
        touch,
        parts,
        (bar.window(low, high, is_outside=True), wall.window(low, high, is_outside=False)),
        points=((inner.x, inner.y, z),) * 2,
        directions=ACROSS,
        clearance=outer.radius - inner.radius,
        rest=(inner.x - outer.x, inner.y - outer.y),
    )


def _edge(
    touch: str,
    parts: tuple[tuple[str, ...], tuple[str, ...]],
    face: Face,
    walls: list[Stretch],
    rods: list[Stretch],
) -> Iterator[Stop]:
    """Stops along the edge of a bone end that is not level, azimuth by azimuth."""
    for turn in np.arange(TURNS) * 360 / TURNS:
        out = radial(float(turn))
        z = face.height
        for _ in range(3):  # the edge's height depends on the radius there, and that on the height
            wall = _holding(walls, z)
            z = z if wall is None else float(face.at(*_on(wall.at(z), out)[:2]))
        wall, bar = _holding(walls, z), _holding(rods, z)
        if wall is None or bar is None:
            continue
        x, y, _ = point = _on(wall.at(z), out)
        inner = bar.at(z)
        away = hypot(x - inner.x, y - inner.y)
        normal: Vector = ((x - inner.x) / away, (y - inner.y) / away, 0.0)
        back: Vector = (-normal[0], -normal[1], 0.0)
        on_rod = inner.x + inner.radius * normal[0], inner.y + inner.radius * normal[1], z
        yield Stop(
            touch,
            parts,
            (Spot(on_rod, normal, SPOT_MM), Spot(point, back, SPOT_MM)),
            points=(on_rod,),
            directions=(back,),
            clearance=away - inner.radius,
            rest=(0.0,),
            is_one_sided=True,
            relieves_mm=SPOT_MM,
        )


def _holding(stretches: list[Stretch], z: float) -> Stretch | None:
    """The stretch that reaches a height."""
    return next((one for one in stretches if one.low.z <= z <= one.high.z), None)


def _on(circle: Circle, out: Vector) -> Vector:
    """Point of a circle on one side."""
    return circle.x + circle.radius * out[0], circle.y + circle.radius * out[1], circle.z
