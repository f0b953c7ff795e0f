"""How wrong the mesh may make a result, from what a finer space would answer besides.

Of a load are known how the loaded end and the bone ends would move besides, and how much more work it
would do: stiffnesses and movements follow. What is read in single cells, or from forces that one part
hands to another, only has the bar of its class: a multiple of the load's error in energy that held for
the results like it on meshes that were refined.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import radians

import numpy as np

from geometries.readout import GapFrame
from pipeline.fem.limits import BAR
from pipeline.fem.space import Array
from pipeline.measures.columns import ESTIMATED
from pipeline.measures.dictionary import Measure
from pipeline.measures.error_classes import ErrorBar, class_bar, sizes_of
from pipeline.measures.load_point import Push

LEAST = 0.2  # of the largest movement's estimate, below which none is known
SHAPE = 2.0  # bending and torsion of a tube go with the square of its section
LEVER = 1.5  # by which bone ends move more than the surfaces that stop them
Place = tuple[str, str]
AXES = {"medial_axis": 0, "anterior_axis": 1, "shaft": 2}


@dataclass(frozen=True)
class Reader:
    """What movements are read with, of one load.

    Parameters
    ----------
    frame : GapFrame or None
        Where gap movement is read.
    top : Array
        Middle of the loaded end (3,), mm.
    points : mapping of str to Array
        Points (3,) that go with that end, by the location of ``proximal_movement``.
    push : Push or None
        The load, if it is one force.
    load : Array
        Shares of the unit loads.
    length : float
        Of the reference sections from each other, mm.
    shear_modulus : float
        Of the tissue, MPa; 0 without.
    volume : float
        How far the volume of any part of the mesh is from the exact one, a share.
    """

    frame: GapFrame | None
    top: Array
    points: Mapping[str, Array]
    push: Push | None
    load: Array
    length: float
    shear_modulus: float
    volume: float


@dataclass(frozen=True)
class Moved:
    """How far a finer space would move the bone ends against each other besides.

    Parameters
    ----------
    motion : Array
        Translation (3,), mm, and rotation (3,), radians, of the proximal end at the gap's centre.
    slack : float
        How far surfaces that bear may still overlap, mm.
    """

    motion: Array
    slack: float

    def at(self, places: Array, frame: GapFrame) -> Array:
        """Movement (..., 3) of places (..., 3), mm."""
        return self.motion[:3] + np.cross(self.motion[3:], places - np.asarray(frame.centre))

    def half(self, size: Array, frame: GapFrame) -> Array:
        """Half-width of an error whose estimate has a size, mm.

        What symmetry makes small is not known better than a share of the largest at the rim.
        """
        largest = np.linalg.norm(self.at(frame.rim.places, frame), axis=1).max()
        return np.asarray(BAR * np.maximum(size, LEAST * largest) + LEVER * self.slack)


@dataclass(frozen=True)
class LoadError:
    """What a finer space would answer to a load besides.

    Parameters
    ----------
    top : Array
        Movement of the loaded end: translation (3,), mm, and rotation (3,), radians.
    gap, free : Moved or None
        The bone ends against each other, under the load, and from a little of the load turned round to
        a little of it; None where there is none.
    work, more : float
        Work of the load on the reference sections, N·mm: as it is, and if as much again came to it.
    pushed : float
        Work of as much again on the loaded end, N·mm.
    energy : float
        Error in energy norm between the reference sections, a share of the energy of all.
    """

    top: Array
    gap: Moved | None
    free: Moved | None
    work: float
    more: float
    pushed: float
    energy: float

    def bars(self, measures: Sequence[Measure], reader: Reader) -> Iterator[ErrorBar]:
        """Half-width of each measure's error; infinite where one mesh does not tell it."""
        found = dict(self._top(reader))
        if reader.frame is not None and self.gap is not None:
            found |= _gap(self.gap, reader.frame) | _rim(self.gap, reader.frame)
        if reader.frame is not None and self.free is not None:
            found |= _free(self.free, reader.frame)
        sizes = sizes_of(measures, reader.load, reader.top[2], reader.shear_modulus)
        for one in measures:
            half = found.get((one.quantity, one.location))
            if half is None and "_stiffness" in one.quantity:
                half = BAR * abs(one.value) * self._yielded(one, reader)
            if half is not None:
                yield ErrorBar(half + SHAPE * reader.volume * abs(one.value), ESTIMATED)
            else:
                yield class_bar(one, self.energy, sizes)

    def _yielded(self, one: Measure, reader: Reader) -> float:
        """Share by which a stiffness gives way more: work besides over work done."""
        is_tangent = one.quantity.endswith("_tangent")
        force, moment = reader.load[:3], reader.load[3:6]
        if one.quantity.startswith("load_point"):
            size = 0.0 if reader.push is None else reader.push.size
            besides = self.pushed if is_tangent else size * _along(self.top, reader)
            return abs(besides) * one.value / size**2
        besides = abs(self.more if is_tangent else self.work)
        if one.quantity.startswith("axial"):
            return float(besides * one.value / force[2] ** 2)
        if one.quantity.startswith("torsional"):
            return float(besides * 1000 * one.value / radians(moment[2] ** 2))
        return float(besides * one.value / (1e-6 * reader.length * (moment[:2] @ moment[:2])))

    def _top(self, reader: Reader) -> Iterator[tuple[Place, float]]:
        slack = 0.0 if self.gap is None else LEVER * self.gap.slack
        sizes = {
            name: float(np.linalg.norm(self.top[:3] + np.cross(self.top[3:], point - reader.top)))
            for name, point in reader.points.items()
        }
        floor = LEAST * max(sizes.values(), default=0.0)
        for name, size in sizes.items():
            yield ("proximal_movement", name), BAR * max(size, floor) + slack
        if reader.push is not None:
            for way in ("", "/bending", "/axial", "/shear", "/torsion"):
                half = BAR * abs(_along(self.top, reader))
                yield ("load_point_movement", f"load_point{way}"), half


def _along(top: Array, reader: Reader) -> float:
    """Movement of the point of a load along its one force, mm."""
    push = reader.push
    if push is None:
        return 0.0
    way = push.force / push.size
    return float(way @ top[:3] + np.cross(push.point - reader.top, way) @ top[3:])


def _gap(moved: Moved, frame: GapFrame) -> dict[Place, float]:
    """Half-widths of the movements at the read-out points, and of the rotation."""
    found: dict[Place, float] = {}
    lengths = frame.lengths()
    for place, point in frame.points().items():
        vector = moved.at(np.asarray(point), frame)
        opened, slid = _split(vector, frame)
        sizes = {
            "gap_movement": np.linalg.norm(vector),
            "gap_axial_movement": abs(vector[2]),
            "gap_shear_movement": np.hypot(*vector[:2]),
            "gap_normal_movement": opened,
            "gap_sliding_movement": slid,
        }
        halves = {name: float(moved.half(size, frame)) for name, size in sizes.items()}
        halves["interfragmentary_strain"] = 100 * halves["gap_normal_movement"] / lengths[place]
        found |= {(name, place): half for name, half in halves.items()}
    return found | _turned("gap_rotation", moved, frame)


def _free(moved: Moved, frame: GapFrame) -> dict[Place, float]:
    """Half-widths of the free play."""
    found: dict[Place, float] = {}
    for place, point in frame.points().items():
        size = np.linalg.norm(moved.at(np.asarray(point), frame))
        found["free_movement", place] = float(moved.half(np.asarray(size), frame))
    return found | _turned("free_rotation", moved, frame)


def _turned(quantity: str, moved: Moved, frame: GapFrame) -> dict[Place, float]:
    """Half-widths of rotations, degrees: what moves the bone's surface as far."""
    arms = np.abs(moved.motion[3:]) * frame.radius
    halves = np.degrees(moved.half(arms, frame) / frame.radius)
    return {(quantity, axis): float(halves[k]) for axis, k in AXES.items()}


def _rim(moved: Moved, frame: GapFrame) -> dict[Place, float]:
    """Half-widths of the largest movements and strains anywhere round the bone's surface."""
    opened, slid = _split(moved.at(frame.rim.places, frame), frame)
    found: dict[Place, float] = {}
    for way, sizes in (("closing", opened), ("opening", opened), ("sliding", slid)):
        halves = moved.half(sizes, frame)
        found["rim_movement", way] = float(halves.max())
        found["rim_strain", way] = 100 * float((halves / frame.rim.lengths).max())
    return found


def _split(vectors: Array, frame: GapFrame) -> tuple[Array, Array]:
    """Sizes (...) of movements (..., 3) along the gap's normal and across it, mm."""
    normal = np.asarray(frame.normal)
    opened = vectors @ normal
    return np.abs(opened), np.linalg.norm(vectors - opened[..., None] * normal, axis=-1)
