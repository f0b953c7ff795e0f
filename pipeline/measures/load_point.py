"""How far the point of a load yields along it, and how much of that each way of deforming adds.

It is what published tests report: the force of the machine over the movement of its ram.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometries.frame import cross
from geometries.solids import BONE_ENDS, Geometry
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.motion import Motion, motions, nodes_motion
from pipeline.measures.play import NEARBY, TANGENT

SLAB_MM = 10.0
LEAST_NODES = 30
PLACE = "load_point"
WAYS = ("bending", "axial", "shear", "torsion")


@dataclass(frozen=True)
class Push:
    """One force on a point of the rigid top.

    Parameters
    ----------
    point : Array
        Where it acts (3,), mm.
    force : Array
        The stated force (3,), N.
    support : Array
        What the support adds at the same point (3,), N: zeros on a bench; where the head is guided,
        what keeps it on its line.
    """

    point: Array
    force: Array
    support: Array

    @property
    def size(self) -> float:
        """Of the stated force, N."""
        return float(np.linalg.norm(self.force))

    def wrench(self, at: Array) -> tuple[Array, Array]:
        """Force (3,), N, and moments (k, 3), N·mm, about points (k, 3)."""
        total = self.force + self.support
        return total, cross(self.point - at, total)


def stations(mesh: Mesh, geometry: Geometry, displacement: Array) -> tuple[Motion, ...]:
    """Rigid motions up the shaft, from the held end to the loaded one.

    They are those of the two ends, of the bone ends, and of the bone in slabs of 10 mm between; of a
    specimen, of all of it.
    """
    bone = mesh.cells_of("cortex")
    cells = bone if len(bone) else np.arange(len(mesh.cells))
    nodes = np.unique(mesh.cells[cells])
    ends = ("distal_end", *BONE_ENDS, "proximal_end")
    found = motions(mesh, geometry, displacement)
    faces = [found[name] for name in ends if name in found]
    heights = np.array([face.about[2] for face in faces])
    edges = np.linspace(0.0, geometry.top[2], max(int(geometry.top[2] / SLAB_MM), 1) + 1)
    slabs = [
        nodes_motion(mesh, own, displacement)
        for low, high in pairwise(edges)
        if np.abs(heights - (low + high) / 2).min() > SLAB_MM
        and len(own := nodes[(mesh.nodes[nodes, 2] >= low) & (mesh.nodes[nodes, 2] < high)])
        >= LEAST_NODES
    ]
    return tuple(sorted([*faces, *slabs], key=lambda one: one.about[2]))


def movements(shaft: Sequence[Motion], push: Push, shares: Array) -> dict[str, float]:
    """Movement of the point along its force by what causes it, mm; they add up to the whole.

    Between two stations the force and its moment do work on their movement against each other, taken
    at the point half-way: the moment on rotation (bending across the shaft, torsion about it), the
    force on translation (axial along the shaft, shear across it).

    Parameters
    ----------
    shaft : sequence of Motion
        Stations from the held end to the loaded one.
    push : Push
        The load.
    shares : Array
        Shares of the columns.
    """
    about = np.array([one.about for one in shaft])
    gone = np.array([one.translation @ shares for one in shaft])
    turned = np.array([one.rotation @ shares for one in shaft])
    middle, along = (about[1:] + about[:-1]) / 2, np.diff(about, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    force, moment = push.wrench(middle)
    above, below = (
        gone[own] + cross(turned[own], middle - about[own]) for own in (slice(1, None), slice(-1))
    )
    moved, turn = above - below, np.diff(turned, axis=0)
    twist = (moment * along).sum(axis=1) * (turn * along).sum(axis=1)
    stretch = (along @ force) * (moved * along).sum(axis=1)
    works = ((moment * turn).sum(axis=1) - twist, stretch, moved @ force - stretch, twist)
    return {way: float(work.sum()) / push.size for way, work in zip(WAYS, works, strict=True)}


def load_point(shaft: Sequence[Motion], push: Push, shares: Array) -> Iterator[Measure]:
    """Stiffness at the point of a load, and the movement there with its parts."""
    parts = movements(shaft, push, shares)
    whole = sum(parts.values())
    yield Measure("load_point_stiffness", PLACE, push.size / whole)
    yield Measure("load_point_movement", PLACE, whole)
    for way, moved in parts.items():
        yield Measure("load_point_movement", f"{PLACE}/{way}", moved)


def load_point_tangent(shaft: Sequence[Motion], push: Push, near: Mapping[str, Array]) -> Measure:
    """Stiffness at the point of a load against a little more of it."""
    moved = sum(movements(shaft, push, near["more"] - near["less"]).values())
    step = (NEARBY["more"] - NEARBY["less"]) * push.size
    return Measure("load_point_stiffness" + TANGENT, PLACE, step / moved)


def movement_of(top: Motion, name: str, point: Array, shares: Array) -> Measure:
    """Size of the movement of a point that goes with the loaded end."""
    return Measure("proximal_movement", name, float(np.linalg.norm(top.at(point) @ shares)))
