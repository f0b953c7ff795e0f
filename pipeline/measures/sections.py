"""Forces through levels of the shaft, through bolts and screws, and on the two bone fragments."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geometries.faces import Face
from geometries.frame import Vector
from geometries.readout import GapFrame, Pin
from pipeline.fem.loads import resultant
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Flags, Ints
from pipeline.measures.forces import Inside

FRAGMENTS = ("distal", "proximal")
GAP = "gap"  # the part between the fragments, and what is told of bone in its place


@dataclass(frozen=True)
class Section:
    """Forces that every part carries through a level of the shaft.

    Parameters
    ----------
    level : float
        Height, mm; moments are about the shaft axis there.
    parts : dict of str to Array
        Force and moment (6, loads) that the proximal side of a part exerts on its distal side.
    centres : dict of str to Array
        Centroid (3,) of each part's cells at the cut, mm.
    axis : (float, float)
        Where the shaft axis passes the level: x, y, mm.
    """

    level: float
    parts: dict[str, Array]
    centres: dict[str, Array]
    axis: tuple[float, float] = (0.0, 0.0)

    def arm(self, part: str) -> Array:
        """From the shaft axis to a part's centroid, across the shaft (3,), mm."""
        x, y, _ = self.centres[part]
        return np.array([x - self.axis[0], y - self.axis[1], 0.0])

    @property
    def total(self) -> Array:
        """Sum over the parts (6, loads)."""
        return np.asarray(sum(self.parts.values()))

    @property
    def whole(self) -> Section:
        """The same of whole bone: what stands in the gap's place carries all, on the shaft axis."""
        return replace(self, parts={GAP: self.total}, centres={GAP: np.array([*self.axis, self.level])})


def cut_level(inside: Inside, face: Face, on_axis: Vector | None = None) -> Section:
    """Cut the whole construct along a face across the shaft, between cells.

    Moments are about a point of the shaft axis, on z where none is given.

    Cells belong to the side of their centroid. The resultant through so rough a cut is exact; what
    each part carries is a mean over about one cell to either side.
    """
    mesh = inside.mesh
    above = cells_above(mesh, face)
    marks = np.zeros((2, len(mesh.nodes)), dtype=bool)
    marks[0, mesh.cells[above]] = True
    marks[1, mesh.cells[~above]] = True
    cut: Flags = np.logical_and(*marks)
    beside = cut[mesh.cells].any(axis=1)
    x, y, level = on_axis or (0.0, 0.0, face.height)
    about = np.array([x, y, level])
    parts, centres = {}, {}
    free = np.ones(len(mesh.nodes), dtype=bool)  # a node that parts share is the first one's
    for index in np.unique(mesh.part_of[beside & above]):
        own = beside & (mesh.part_of == index)
        name = mesh.parts[index].name
        carried = -inside.pull(np.flatnonzero(own & above), cut, about)
        if inside.pairs:
            nodes = np.zeros(len(mesh.nodes), dtype=bool)
            nodes[mesh.cells[mesh.part_of == index]] = True
            beyond = marks[0] & ~cut
            carried += inside.misplaced(nodes & free, beyond, lambda p: p[2] > face.at(*p[:2]), about)
            free &= ~nodes
        parts[name] = carried
        centres[name] = _centre(mesh, np.flatnonzero(own))
    return Section(level, parts, centres, (x, y))


def cells_above(mesh: Mesh, face: Face) -> Flags:
    """Cells (m,) whose middle lies above a face."""
    middles = mesh.nodes[mesh.cells[:, :4]].mean(axis=1)
    return np.asarray(middles[:, 2] > face.at(middles[:, 0], middles[:, 1]))


def _centre(mesh: Mesh, cells: Ints) -> Array:
    """Centroid (3,) of cells, mm."""
    corners = mesh.nodes[mesh.cells[cells, :4]]
    volumes = np.abs(np.linalg.det(corners[:, 1:] - corners[:, :1]))
    return np.asarray(volumes @ corners.mean(axis=1) / volumes.sum())


def cut_pin(inside: Inside, pin: Pin, plane: str) -> Array:
    """Force and moment (6, loads) that a pin carries through one of its planes.

    In the pin's own frame: along its axis towards the head (positive pulls), along the shaft, across
    both; the moment is about the pin's axis at the plane.
    """
    mesh = inside.mesh
    out, foot, up = np.asarray(pin.axis), np.asarray(pin.foot), np.array([0.0, 0.0, 1.0])
    frame = np.stack([out, up, np.cross(out, up)])
    index = [part.name for part in mesh.parts].index(pin.name)
    own = np.flatnonzero(mesh.part_of == index)
    place = (mesh.nodes[mesh.cells[own, :4]].mean(axis=1) - foot) @ out
    beyond = place > pin.planes[plane]
    about = foot + pin.planes[plane] * out
    pull = -inside.through(own[beyond], own[~beyond], about)
    if inside.pairs:
        nodes, outside = np.zeros((2, len(mesh.nodes)), dtype=bool)
        nodes[mesh.cells[own]] = True
        outside[mesh.cells[own[beyond]]] = True
        outside[mesh.cells[own[~beyond]]] = False
        pull += inside.misplaced(nodes, outside, lambda p: (p - foot) @ out > pin.planes[plane], about)
    return np.concatenate([frame @ pull[:3], frame @ pull[3:]])


@dataclass(frozen=True)
class FreeBody:
    """All that acts on one bone fragment.

    Parameters
    ----------
    about : Array
        Point (3,) of the moments, mm.
    acting : dict of str to Array
        Force and moment (6, loads) that each part exerts on the fragment, and ``contact``, what its
        surfaces bear.
    applied : Array
        The same of loads and supports.
    """

    about: Array
    acting: dict[str, Array]
    applied: Array

    @property
    def rest(self) -> Array:
        """Sum of everything (6, loads): zero in equilibrium."""
        return np.asarray(sum(self.acting.values()) + self.applied)


def free_body(
    inside: Inside, fragment: str, outside: Array, about: Array, gap: GapFrame | None = None
) -> FreeBody:
    """Close the free body of a fragment.

    Whole bone is cut between cells along the middle of the gap's place; what lies beyond acts as that.

    Parameters
    ----------
    inside : Inside
        Mesh, materials and displacements.
    fragment : {"distal", "proximal"}
        Which bone end.
    outside : Array
        Nodal loads and support forces (n, 3, loads), N.
    about : Array
        Point (3,) of the moments, mm.
    gap : GapFrame, optional
        Where the gap would be, if the bone is whole.
    """
    mesh = inside.mesh
    if gap is None:
        bone = [part.role in ("cortex", "cancellous") and part.name.endswith(fragment)
                for part in mesh.parts]  # fmt: skip
        own = np.asarray(bone)[mesh.part_of]
    else:
        own = cells_above(mesh, gap.plane) == (fragment == "proximal")
    nodes = np.zeros(len(mesh.nodes), dtype=bool)
    nodes[mesh.cells[own]] = True
    touching = nodes[mesh.cells].any(axis=1) & ~own
    acting = {
        mesh.parts[index].name: -inside.pull(
            np.flatnonzero(touching & (mesh.part_of == index)), nodes, about
        )
        for index in np.unique(mesh.part_of[touching])
    }
    if gap is not None:
        acting = {GAP: np.asarray(sum(acting.values()))}
    if inside.pairs:
        acting["contact"] = np.asarray(
            sum(
                resultant(mesh.nodes[pair.nodes[own]], pair.forces[own], about)
                for pair in inside.pairs
                for own in [nodes[pair.nodes]]
            )
        )
    return FreeBody(about, acting, resultant(mesh.nodes[nodes], outside[nodes], about))
