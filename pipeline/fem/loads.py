"""Six unit loads at the proximal end, each spread over the bone's end face."""

from __future__ import annotations

import numpy as np

from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Ints, face_measure, face_rule, shape

ORDER = 4


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

    The traction is linear over the face, chosen so that its resultant is exactly the unit load.

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
    faces = mesh.patches[patch]
    places, weights, functions = face_points(mesh.nodes, faces)
    modes = rigid_modes(places, about)
    # A traction of rigid-mode shape has the resultant G c; choose c so that it is the identity.
    G = np.einsum("p,pia,pib->ab", weights, modes, modes)
    traction = np.einsum("pia,ab->pib", modes, np.linalg.inv(G))
    per_face = len(weights) // len(faces)
    shares = np.einsum("p,pn,pib->pnib", weights, functions, traction)
    shares = shares.reshape(len(faces), per_face, 6, 3, 6).sum(axis=1)
    forces = np.zeros((*mesh.nodes.shape, 6))
    np.add.at(forces, faces, shares)
    return forces


def resultant(nodes: Array, forces: Array, about: Array) -> Array:
    """Force and moment (6, loads) about a point of nodal forces (n, 3, loads), N and N·mm."""
    return np.einsum("nia,nil->al", rigid_modes(nodes, about), forces)
