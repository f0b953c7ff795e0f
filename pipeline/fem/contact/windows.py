"""Windows on the surfaces of a mesh, and what the stops between them read and push.

A stop's nodal forces are a pair in balance: a traction of rigid-mode shape over one window whose
resultant is a unit force through the point of reading, and the opposite over the other. The same
numbers read the relative movement there, by an area-weighted rigid fit to each window, so that force
and movement are conjugate and compliances symmetric.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from geometries.bow import Bow
from geometries.solids import TISSUE_ROLES
from geometries.stops import Round, Spot, Stop
from pipeline.fem.contact.rules import Rules
from pipeline.fem.loads import Spread, face_points, rigid_modes
from pipeline.fem.mesh import Mesh, free_faces
from pipeline.fem.space import Array, Flags, Ints, face_measure, face_rule

FACING = 0.5  # cosine between a surface's normal and the direction in which a window looks
OFF_MM = (
    1.0  # how far the points of a round surface may lie off its radius, and of a spot off its plane
)
LEAST_MM2 = 2.0  # of a window
LEAST_SPREAD = 1e-4  # of a window's rigid modes against each other; less can not carry a couple
ORDER = 4


@dataclass(frozen=True)
class Skin:
    """Quadrature points on the free faces of some parts.

    Parameters
    ----------
    faces : Ints
        Node numbers (k, 6).
    places, normals : Array
        Points and outward normals (p, 3) before bending, sorted by height.
    bent : Array
        The points where the mesh has them (p, 3), mm.
    weights : Array
        Area of each (p,), mm².
    face, place : Ints
        Its face (p,), and which of a face's points it is.
    """

    faces: Ints
    places: Array
    normals: Array
    bent: Array
    weights: Array
    face: Ints
    place: Ints

    @classmethod
    def of(cls, mesh: Mesh, faces: Ints) -> Skin:
        """Points of faces (k, 6)."""
        points, _ = face_rule(ORDER)
        bent, weights, _ = face_points(mesh.nodes, faces)
        straight = mesh.nodes if mesh.bow is None else mesh.bow.straighten(mesh.nodes)
        places, _, _ = face_points(straight, faces)
        _, normals = face_measure(straight[faces], points)
        order = np.argsort(places[:, 2], kind="stable")
        face, place = np.divmod(order, len(points))
        return cls(
            faces,
            places[order],
            normals.reshape(-1, 3)[order],
            bent[order],
            weights[order],
            face,
            place,
        )

    @cached_property
    def heights(self) -> Array:
        """Heights (p,) of the points, rising."""
        return np.ascontiguousarray(self.places[:, 2])

    def within(self, window: Round | Spot) -> Ints:
        """Numbers of the points that belong to a window."""
        first, last = np.searchsorted(self.heights, _extent(window))
        places, normals = self.places[first:last], self.normals[first:last]
        chosen = _on_round if isinstance(window, Round) else _on_spot
        return first + np.flatnonzero(chosen(window, places, normals))  # type: ignore[arg-type]

    def spread(self, points: Ints, about: Array, direction: Array) -> Spread | None:
        """A unit force through a point, over some of the points; None if too little is there."""
        weights, bent = self.weights[points], self.bent[points]
        if len(points) < 3 or weights.sum() < LEAST_MM2:  # two points carry no moment
            return None
        modes = rigid_modes(bent, about)
        size = np.linalg.norm(bent - bent.mean(axis=0), axis=1).max()
        modes[:, :, 3:] /= size
        gram = np.einsum("p,pia,pib->ab", weights, modes, modes) / weights.sum()
        if np.linalg.eigvalsh(gram)[0] < LEAST_SPREAD:
            return None
        fit = np.linalg.solve(gram, np.concatenate([direction, np.zeros(3)]))
        faces, own = np.unique(self.face[points], return_inverse=True)
        rule, _ = face_rule(ORDER)
        weighted = np.zeros((len(faces), len(rule), 3, 1))
        weighted[own, self.place[points], :, 0] = weights[:, None] / weights.sum() * (modes @ fit)
        return Spread(self.faces[faces], rule, weighted)


def _extent(window: Round | Spot) -> tuple[float, float]:
    """Heights between which a window lies."""
    if isinstance(window, Spot):
        return window.point[2] - window.within, window.point[2] + window.within
    if window.axis.along[2] > 0:
        return window.low, window.high
    reach = window.radius + OFF_MM
    return window.axis.base[2] - reach, window.axis.base[2] + reach


def _on_round(window: Round, places: Array, normals: Array) -> Flags:
    axis = window.axis
    offset = places - np.asarray(axis.base)
    along = offset @ np.asarray(axis.along)
    out = offset - along[:, None] * np.asarray(axis.lean)
    radius = np.linalg.norm(out, axis=1)
    facing = np.einsum("pi,pi->p", normals, out) * (1 if window.is_outside else -1)
    between = (along >= window.low) & (along <= window.high)
    return np.asarray(between & (np.abs(radius - window.radius) < OFF_MM) & (facing > FACING * radius))


def _on_spot(window: Spot, places: Array, normals: Array) -> Flags:
    normal = np.asarray(window.normal)
    offset = places - np.asarray(window.point)
    deep = offset @ normal
    aside = np.linalg.norm(offset - deep[:, None] * normal, axis=1)
    near = (aside < window.within) & (np.abs(deep) < window.within)
    return np.asarray(near & (normals @ normal > FACING))


@dataclass(frozen=True)
class Stops(Rules):
    """The stops of a construct on its mesh.

    Parameters
    ----------
    listed : tuple of Stop
        Those whose windows the mesh has.
    matrix : sparse array
        Nodal forces (3 n, columns) of their unit forces, and weights that read their movements.
    spreads : tuple of (Spread, Spread)
        Tractions of each column over its two windows; the second pushes back.
    """

    matrix: sp.csc_array
    spreads: tuple[tuple[Spread, Spread], ...]

    @classmethod
    def of(cls, mesh: Mesh, stops: Iterable[Stop]) -> Stops:
        """Find the windows of stops on a mesh; one whose surface is cut away there has no stop."""
        stops, surfaces = list(stops), _surfaces(mesh, stops)
        kept, columns = [], []
        for stop in stops:
            found = _columns(stop, surfaces, mesh.bow)
            if found:
                kept.append(stop)
                columns.append(found)
        spreads = tuple(pair for found in columns for pair in found)
        flat = [_together(*pair) for pair in spreads]
        rows = [(3 * nodes[:, None] + np.arange(3)).ravel() for nodes, _ in flat]
        ends = np.cumsum([0, *(len(row) for row in rows)])
        values = [forces.ravel() for _, forces in flat]
        matrix = sp.csc_array(
            (np.concatenate([*values, []]), np.concatenate([*rows, []]).astype(np.int64), ends),
            shape=(mesh.unknowns, len(flat)),
        )
        return cls(tuple(kept), matrix, spreads)

    def forces(self, columns: Ints) -> Array:
        """Nodal forces (n, 3, columns) of some columns."""
        return self.matrix[:, columns].toarray().reshape(self.matrix.shape[0] // 3, 3, len(columns))

    def movements(self, displacement: Array) -> Array:
        """Movements (columns, loads) of all stops under displacements (n, 3, loads), mm."""
        return np.asarray(self.matrix.T @ displacement.reshape(self.matrix.shape[0], -1))


def _surfaces(mesh: Mesh, stops: list[Stop]) -> dict[tuple[str, ...], Skin]:
    """Surfaces of all bodies that stops name; tissue hides none."""
    names = [part.name for part in mesh.parts]
    solid = np.array([part.role not in TISSUE_ROLES for part in mesh.parts])[mesh.part_of]
    found = {}
    faces, owner = free_faces(mesh, np.flatnonzero(solid))
    for parts in dict.fromkeys(parts for stop in stops for parts in stop.parts):
        numbers = [names.index(part) for part in parts if part in names]
        found[parts] = Skin.of(mesh, faces[np.isin(mesh.part_of[owner], numbers)])
    return found


Spreads = tuple[Spread, Spread]


def _columns(
    stop: Stop, surfaces: dict[tuple[str, ...], Skin], bow: Bow | None
) -> list[Spreads] | None:
    sides = [surfaces[parts] for parts in stop.parts]
    points = [one.within(window) for one, window in zip(sides, stop.windows, strict=True)]
    found = []
    for place, direction in zip(stop.points, stop.directions, strict=True):
        about, way = np.array(place), np.array(direction)
        if bow is not None:
            about, way = bow.place(about), np.array(bow.turn(direction, place[2]))
        pair = [one.spread(some, about, way) for one, some in zip(sides, points, strict=True)]
        if pair[0] is None or pair[1] is None:
            return None
        found.append((pair[0], pair[1]))
    return found


def _together(one: Spread, other: Spread) -> tuple[Ints, Array]:
    """Nodes (k,) and forces (k, 3) of the first less the second; bodies may share nodes."""
    nodes, place = np.unique(np.concatenate([one.faces, other.faces]), return_inverse=True)
    place = place.reshape(-1, one.faces.shape[1])
    forces = np.zeros((len(nodes), 3))
    for side, numbers, sign in (
        (one, place[: len(one.faces)], 1.0), (other, place[len(one.faces) :], -1.0),
    ):  # fmt: skip
        forces += sign * replace(side, faces=numbers).forces(len(nodes))[:, :, 0]
    return nodes, forces
