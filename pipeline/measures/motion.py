"""Rigid motions of faces and of slabs by least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometries.frame import cross
from geometries.readout import Cut
from geometries.solids import Geometry
from pipeline.fem.loads import face_points, rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Ints
from pipeline.fem.within import Within


@dataclass(frozen=True)
class Motion:
    """Rigid motion of a face or a slab under several loads.

    Parameters
    ----------
    about : Array
        Its centroid (3,), mm.
    translation : Array
        Displacement of the centroid (3, loads), mm.
    rotation : Array
        Rotation vector (3, loads), radians.
    misfit : Array
        Products (loads, loads) of what the fit leaves over, a mean, mm².
    """

    about: Array
    translation: Array
    rotation: Array
    misfit: Array

    def through(self, states: Array) -> Motion:
        """The same where the loads are sums (loads, states) of these."""
        moved, turned = self.translation @ states, self.rotation @ states
        own = states[: len(self.misfit)]
        return Motion(self.about, moved, turned, own.T @ self.misfit @ own)

    def at(self, point: Array) -> Array:
        """Displacement (3, loads) of a point carried along with it, mm."""
        return self.translation + cross(self.rotation.T, point - self.about).T

    def carried(self, points: Array, shares: Array) -> Array:
        """Displacements (k, 3) of points (k, 3) carried along, mm, under shares of the loads."""
        return self.translation @ shares + cross(self.rotation @ shares, points - self.about)


def apart(distal: Motion, proximal: Motion, points: Array, shares: Array) -> Array:
    """Movement (k, 3) of the proximal body against the distal one at points (k, 3), mm."""
    return proximal.carried(points, shares) - distal.carried(points, shares)


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
    return _fitted(places, weights, u.reshape(len(weights), 3, -1))


def cut_motion(mesh: Mesh, cut: Cut, displacement: Array) -> Motion:
    """Fit a rigid motion to a section through whole bone; for the rest see `face_motion`."""
    moved = Within.of(mesh, cut.places).read(displacement)
    return _fitted(cut.places, cut.weights, moved)


def motions(mesh: Mesh, geometry: Geometry, displacement: Array) -> dict[str, Motion]:
    """Rigid motions by name of all named faces, and of cuts through whole bone in place of some."""
    faces = {name: face_motion(mesh, name, displacement) for name in mesh.patches}
    return faces | {name: cut_motion(mesh, cut, displacement) for name, cut in geometry.cuts.items()}


def nodes_motion(mesh: Mesh, nodes: Ints, displacement: Array) -> Motion:
    """Fit a rigid motion to nodes, each of the same weight.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    nodes : Ints
        Their numbers (k,).
    displacement : Array
        Nodal displacements (n, 3, loads), mm.
    """
    return _fitted(mesh.nodes[nodes], np.ones(len(nodes)), displacement[nodes])


def without_rigid(places: Array, u: Array) -> Array:
    """What places (p, 3) that moved by u (p, 3, loads) did besides moving as one body."""
    fit = _fitted(places, np.ones(len(places)), u)
    rigid = np.concatenate([fit.translation, fit.rotation])
    return np.asarray(u - np.tensordot(rigid_modes(places, fit.about), rigid, axes=1))


def _fitted(places: Array, weights: Array, u: Array) -> Motion:
    """Least-squares rigid motion of weighted places (p, 3) that moved by u (p, 3, loads)."""
    about = weights @ places / weights.sum()
    modes = rigid_modes(places, about)
    gram = np.einsum("p,pia,pib->ab", weights, modes, modes)
    weighted = (weights[:, None, None] * modes).reshape(-1, 6)
    fit = np.linalg.solve(gram, weighted.T @ u.reshape(len(weighted), -1))
    rest = u - np.tensordot(modes, fit, axes=1)
    # One matrix product: NumPy goes through three factors entry by entry.
    flat = (np.sqrt(weights / weights.sum())[:, None, None] * rest).reshape(-1, u.shape[2])
    return Motion(about, fit[:3], fit[3:], flat.T @ flat)
