"""Unit loads as nodal forces: at the proximal end face, and at points on the bone's surface."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geometries.solids import Role
from pipeline.errors import MeshError
from pipeline.fem.mesh import Mesh, free_faces
from pipeline.fem.space import Array, Ints, face_measure, face_rule, shape

ORDER = 4
SURFACE_MM2 = 150.0  # a muscle's origin on the bone, about 12 by 12 mm; an assumption
OUTWARD = 0.5  # cosine between a face's normal and the radius from which it is on the outside


def face_points(nodes: Array, faces: Ints) -> tuple[Array, Array, Array]:
    """Quadrature points (p, 3), area weights (p,) and shape functions (p, 6) of faces (k, 6)."""
    points, weights = face_rule(ORDER)
    functions = shape(points)
    corners = nodes[faces]
    area, _ = face_measure(corners, points)
    places = np.einsum("qn,kni->kqi", functions, corners)
    count = len(faces)
    return (
        places.reshape(-1, 3),
        (area * weights).ravel(),
        np.broadcast_to(functions, (count, *functions.shape)).reshape(-1, 6),
    )


def rigid_modes(places: Array, about: Array) -> Array:
    """Three translations and three rotations about a point, as displacements (p, 3, 6) at places."""
    r = places - about
    modes = np.zeros((len(places), 3, 6))
    modes[:, :, :3] = np.eye(3)
    for axis in range(3):
        modes[:, :, 3 + axis] = np.cross(np.eye(3)[axis], r)
    return modes


def unit_loads(mesh: Mesh, patch: str, about: Array) -> Array:
    """Nodal forces of unit forces and unit moments on a patch.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    patch : str
        Face that takes the load.
    about : Array
        Point (3,) on which the resultant acts, mm.

    Returns
    -------
    Array
        (n, 3, 6), N: columns are Fx, Fy, Fz (1 N) and Mx, My, Mz (1 N·mm).
    """
    return Spread.of(mesh.nodes, mesh.patches[patch], about).forces(len(mesh.nodes))


def surface_loads(mesh: Mesh, point: Array, roles: tuple[Role, ...] = ("cortex",)) -> Array:
    """Nodal forces (n, 3, 3), N, of unit forces at a point on the surface; see `surface_spread`."""
    return surface_spread(mesh, point, roles).forces(len(mesh.nodes))


def surface_spread(mesh: Mesh, point: Array, roles: tuple[Role, ...] = ("cortex",)) -> Spread:
    """Unit forces at a point on the outer surface, spread over the faces around it.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    point : Array
        Point (3,) on which the resultant acts, mm; its moment about the point is zero.
    roles : tuple of str
        Parts whose surface takes the load.

    Returns
    -------
    Spread
        Its loads are Fx, Fy, Fz (1 N).

    Raises
    ------
    MeshError
        If these parts have no face on the outside.
    """
    faces = outer_surface(mesh, roles)
    if not len(faces):
        raise MeshError(f"mesh: no outer face on {', '.join(roles)}; allowed 1 or more: name another")
    distance = np.linalg.norm(mesh.nodes[faces[:, :3]].mean(axis=1) - point, axis=1)
    faces = faces[np.argsort(distance, kind="stable")]
    _, weights, _ = face_points(mesh.nodes, faces)
    area = np.cumsum(weights.reshape(len(faces), -1).sum(axis=1))
    count = 1 + int(np.searchsorted(area, SURFACE_MM2))
    return Spread.of(mesh.nodes, faces[:count], point).along(np.eye(6)[:, :3])


def outer_surface(mesh: Mesh, roles: tuple[Role, ...]) -> Ints:
    """Faces (k, 6) of parts with these roles that belong to one cell only and look off the axis.

    Without the second rule a thin wall would take part of the load on its inside, in the canal.
    """
    faces, owner = free_faces(mesh, np.arange(len(mesh.cells)))
    wanted = np.zeros(len(mesh.cells), dtype=bool)
    wanted[mesh.cells_of(*roles)] = True
    found = faces[wanted[owner]]
    middle = np.full((1, 2), 1 / 3)
    normal = face_measure(mesh.nodes[found], middle)[1][:, 0]
    radius = mesh.off_axis(mesh.nodes[found[:, :3]].mean(axis=1))
    return found[np.einsum("ki,ki->k", normal, radius) > OUTWARD * np.linalg.norm(radius, axis=1)]


@dataclass(frozen=True)
class Spread:
    """Tractions over faces.

    Parameters
    ----------
    faces : Ints
        Node numbers (k, 6).
    points : Array
        Reference points (q, 2) on each.
    weighted : Array
        Traction times area at each point (k, q, 3, loads), N.
    """

    faces: Ints
    points: Array
    weighted: Array

    @classmethod
    def of(cls, nodes: Array, faces: Ints, about: Array) -> Spread:
        """Tractions of rigid-mode shape whose resultants about a point are the six unit loads."""
        places, weights, _ = face_points(nodes, faces)
        modes = rigid_modes(places, about)
        # A traction of rigid-mode shape has the resultant G c; choose c so that it is the identity.
        G = np.einsum("p,pia,pib->ab", weights, modes, modes)
        weighted = weights[:, None, None] * (modes @ np.linalg.inv(G))
        points, _ = face_rule(ORDER)
        return cls(faces, points, weighted.reshape(len(faces), len(points), 3, 6))

    def along(self, directions: Array) -> Spread:
        """The same of combinations (loads, r) of its loads."""
        return replace(self, weighted=self.weighted @ directions)

    def forces(self, count: int) -> Array:
        """Nodal forces (n, 3, loads), N, of so many nodes."""
        shares = np.einsum("qn,kqil->knil", shape(self.points), self.weighted, optimize=True)
        forces = np.zeros((count, 3, self.weighted.shape[3]))
        np.add.at(forces, self.faces, shares)
        return forces


def resultant(nodes: Array, forces: Array, about: Array) -> Array:
    """Force and moment (6, loads) about a point of nodal forces (n, 3, loads), N and N·mm."""
    return np.einsum("nia,nil->al", rigid_modes(nodes, about), forces)
