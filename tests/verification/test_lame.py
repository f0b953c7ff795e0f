"""A thick cylinder under internal pressure, in plane strain: Lamé's solution."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
import pytest

from geometries.materials import isotropic
from pipeline.fem.loads import face_points
from pipeline.fem.mesh import Mesh
from pipeline.fem.mesher import build_mesh
from pipeline.fem.solve import solve
from pipeline.fem.space import (
    FACE_NODES,
    Array,
    Ints,
    face_measure,
    face_rule,
    gradients,
    shape,
    strains,
)
from tests.verification.helpers import (
    case_of,
    geometry_of,
    outer_faces,
    plain_resultant,
    specimen,
    stiffness_of,
)

INNER, OUTER, LENGTH = 6.5, 14.0, 10.0
PRESSURE = 10.0
E, NU = 17_000.0, 0.30
CORNERS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])


def faces_at_radius(mesh: Mesh, radius: float) -> Ints:
    """Outer faces (k, 6) whose nodes all lie at a distance from the axis."""
    faces = outer_faces(mesh.cells)
    distance = np.hypot(mesh.nodes[:, 0], mesh.nodes[:, 1])
    return faces[(np.abs(distance - radius) < 1e-6 * radius)[faces].all(axis=1)]


def pressure_forces(mesh: Mesh, faces: Ints, pressure: float) -> Array:
    """Nodal forces (n, 3) of a pressure: the shape functions times -p n, over the faces."""
    points, weights = face_rule(4)
    area, normal = face_measure(mesh.nodes[faces], points)
    shares = np.einsum("qn,kq,q,kqi->kni", shape(points), area, -pressure * weights, normal)
    forces = np.zeros(mesh.nodes.shape)
    np.add.at(forces, faces, shares)
    return forces


def plane_strain_supports(mesh: Mesh) -> np.ndarray:
    """No motion along the axis at both ends, and three components against rigid motion across it."""
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    for end in ("distal_end", "proximal_end"):
        held[mesh.patches[end], 2] = True
    outside, inside = (
        np.linalg.norm(mesh.nodes - [radius, 0.0, 0.0], axis=1).argmin() for radius in (OUTER, INNER)
    )
    held[outside, :2] = True
    held[inside, 1] = True
    return held


def wall_hoop_stress(mesh: Mesh, radius: float, displacement: Array) -> float:
    """Mean over a round wall, MPa, from the strains of its cells at points on the wall itself."""
    at_radius = np.abs(np.hypot(*mesh.nodes[:, :2].T) - radius) < 1e-6 * radius
    points, weights = face_rule(4)
    barycentric = np.column_stack([1 - points.sum(axis=1), points])
    sums = np.zeros(2)
    for face in FACE_NODES:
        cells = mesh.cells[at_radius[mesh.cells[:, face]].all(axis=1)]
        places = barycentric @ CORNERS[face[:3]]
        gradient, _ = gradients(mesh.nodes[cells], places)
        stress = np.einsum(
            "ij,mqj->mqi", isotropic(E, NU), strains(gradient, displacement[cells])[..., 0]
        )
        x, y, _ = np.moveaxis(np.einsum("qn,mni->mqi", shape(places), mesh.nodes[cells]), 2, 0)
        xx, yy, _, xy, _, _ = np.moveaxis(stress, 2, 0)
        hoop = (xx * y**2 + yy * x**2 - 2 * xy * x * y) / (x**2 + y**2)
        area = face_measure(mesh.nodes[cells[:, face]], points)[0] * weights
        sums += (hoop * area).sum(), area.sum()
    return float(sums[0] / sums[1])


@dataclass(frozen=True)
class Cylinder:
    mesh: Mesh
    forces: Array
    displacement: Array


@pytest.fixture(scope="module")
def cylinder() -> Cylinder:
    case = case_of(specimen(LENGTH, 3.0, (2 * OUTER, 2 * INNER, "cortical")), "fine")
    mesh = build_mesh(geometry_of(case), "fine")
    forces = pressure_forces(mesh, faces_at_radius(mesh, INNER), PRESSURE)[:, :, None]
    stiffness = stiffness_of(mesh, np.array([[E, NU]]))
    found = solve(mesh, stiffness, forces, plane_strain_supports(mesh))
    return Cylinder(mesh, forces, found.displacement)


def test_pressure_pushes_on_the_whole_bore_and_balances_itself(cylinder: Cylinder):
    # Statics: the radial sum is pressure times bore area, the resultant is nothing.
    radial = cylinder.mesh.nodes[:, :2] / np.hypot(*cylinder.mesh.nodes[:, :2].T)[:, None]
    push = np.einsum("ni,ni->", cylinder.forces[:, :2, 0], radial)
    area = 2 * pi * INNER * LENGTH
    assert push == pytest.approx(PRESSURE * area, rel=1e-4)
    whole = plain_resultant(cylinder.mesh.nodes, cylinder.forces, np.array([0.0, 0.0, LENGTH / 2]))
    assert np.abs(whole).max() < 1e-9 * PRESSURE * area


@pytest.mark.parametrize(("radius", "expected"), [(INNER, 0.0068829), (OUTER, 0.0041187)])
def test_walls_move_as_in_lame_solution(cylinder: Cylinder, radius: float, expected: float):
    # Lamé: Timoshenko & Goodier, Theory of Elasticity; from memory. With A = pa²/(b²-a²), plane
    # strain has u(r) = (1+nu)/E · A · ((1-2nu) r + b²/r). The mean over a closed wall contains no
    # rigid motion.
    mesh, u = cylinder.mesh, cylinder.displacement[:, :, 0]
    faces = faces_at_radius(mesh, radius)
    places, weights, functions = face_points(mesh.nodes, faces)
    nodes = faces.repeat(len(weights) // len(faces), axis=0)
    x, y, _ = places.T
    ux, uy, _ = np.einsum("pn,pni->ip", functions, u[nodes])
    outwards = (ux * x + uy * y) / np.hypot(x, y)
    assert weights @ outwards / weights.sum() == pytest.approx(expected, rel=3e-3)


@pytest.mark.parametrize(("radius", "expected"), [(INNER, 15.4959), (OUTER, 5.4959)])
def test_hoop_stress_at_the_walls(cylinder: Cylinder, radius: float, expected: float):
    # Lamé: p(b²+a²)/(b²-a²) inside, 2pa²/(b²-a²) outside; Timoshenko & Goodier, from memory.
    # Strains on the rim of a cell are the least exact: 1.5 %.
    found = wall_hoop_stress(cylinder.mesh, radius, cylinder.displacement)
    assert found == pytest.approx(expected, rel=0.015)
