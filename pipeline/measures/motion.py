"""Rigid motions of faces by area-weighted least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.fem.loads import face_points, rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array


@dataclass(frozen=True)
class Motion:
    """Rigid motion of a face under several loads.

    Parameters
    ----------
    about : Array
        Centroid of the face (3,), mm.
    translation : Array
        Displacement of the centroid (3, loads), mm.
    rotation : Array
        Rotation vector (3, loads), radians.
    misfit : Array
        Products (loads, loads) of what the fit leaves over, a mean over the face, mm².
    """

    about: Array
    translation: Array
    rotation: Array
    misfit: Array

    def at(self, point: Array) -> Array:
        """Displacement (3, loads) of a point carried along with the face, mm."""
        return self.translation + np.cross(self.rotation.T, point - self.about).T


def face_motion(mesh: Mesh, patch: str, displacement: Array) -> Motion:
    """Fit a rigid motion to a patch.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    patch : str
        Name of the patch.
    displacement : Array
        Nodal displacements (n, 3, loads), mm.
    """
    faces = mesh.patches[patch]
    places, weights, functions = face_points(mesh.nodes, faces)
    values = displacement[faces]
    per_face = len(weights) // len(faces)
    u = np.einsum("kqn,knil->kqil", functions.reshape(len(faces), per_face, 6), values)
    u = u.reshape(len(weights), 3, -1)
    about = weights @ places / weights.sum()
    modes = rigid_modes(places, about)
    gram = np.einsum("p,pia,pib->ab", weights, modes, modes)
    fit = np.linalg.solve(gram, np.einsum("p,pia,pil->al", weights, modes, u))
    rest = u - np.einsum("pia,al->pil", modes, fit)
    misfit = np.einsum("p,pil,pim->lm", weights, rest, rest) / weights.sum()
    return Motion(about, fit[:3], fit[3:], misfit)
