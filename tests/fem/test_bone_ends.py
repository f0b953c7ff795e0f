"""Meshes of bone ends that are not flat: faces between parts, areas, volumes, and forces across."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians

import numpy as np
import pytest

from geometries.bone import Defect, Femur
from geometries.defect import bone_ends
from geometries.faces import Face
from pipeline.fem.limits import VOLUME_TOLERANCE
from pipeline.fem.loads import face_points
from pipeline.fem.mesh import Mesh, faces_on_plane, shared_faces
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import Array, Ints
from pipeline.measures.forces import Inside
from pipeline.measures.sections import cut_level
from pipeline.run.equilibrium import part_elasticity
from tests.models import SHORT_PLATE, Solved, case_of, geometry_of, solved

TILT = 37.0
EVEN = {"site_percent": 40.0}  # where surface and canal are even
OBLIQUE = {**EVEN, "gap_mm": 3.7, "oblique_deg": TILT, "oblique_azimuth_deg": 25.0}
ROUGH = {
    **EVEN, "gap_mm": 3.7, "rough_mm": 0.8, "rough_wavelength_mm": 10.3, "rough_faces": "unlike",
    "rough_seed": 8,
}  # fmt: skip
CANAL, SURFACE = 5.25, 13.5  # radii of the default shaft, mm


def plated(defect: dict) -> dict:
    return {"kind": "plate", "name": "plate", "plate": SHORT_PLATE, "defect": defect}


@pytest.fixture(scope="module")
def oblique() -> Solved:
    return solved(case_of(plated(OBLIQUE), "coarse", ("mature",)))


@pytest.fixture(scope="module")
def rough() -> Mesh:
    return build_mesh(geometry_of(case_of(plated(ROUGH), "coarse")), "coarse")


def ends_of(defect: dict) -> tuple[Face, Face]:
    return bone_ends(Femur(), Defect(**defect))


def area(mesh: Mesh, patch: str) -> float:
    _, weights, _ = face_points(mesh.nodes, mesh.patches[patch])
    return float(weights.sum())


def corner_sets(faces: Ints) -> set[tuple[int, ...]]:
    return {tuple(sorted(face[:3])) for face in faces.tolist()}


def normals(nodes: Array, faces: Ints) -> Array:
    a, b, c = (nodes[faces[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    return across / np.linalg.norm(across, axis=1)[:, None]


# --- Faces that two parts share ----------------------------------------------------------------------


@pytest.mark.parametrize("height", [4.0, 13.0])
def test_faces_shared_by_two_sides_of_a_plane_are_those_on_it(small: Mesh, height: float):
    # Definition: on a flat cut through a real mesh both ways find the same faces with the same normals.
    above = small.nodes[small.cells[:, :4], 2].mean(axis=1) > height
    shared = shared_faces(small.cells[~above], small.cells[above])
    plane = faces_on_plane(small.nodes, small.cells[~above], height, 1e-6)
    assert len(shared) > 20
    assert corner_sets(shared) == corner_sets(plane)
    assert len(shared) == len(corner_sets(shared))
    assert normals(small.nodes, shared) == pytest.approx(np.tile([0.0, 0.0, 1.0], (len(shared), 1)))
    back = shared_faces(small.cells[above], small.cells[~above])
    assert corner_sets(back) == corner_sets(shared)
    assert normals(small.nodes, back)[:, 2] == pytest.approx(-1)


def test_parts_that_do_not_meet_share_no_faces(small: Mesh):
    # Definition.
    z = small.nodes[small.cells[:, :4], 2]
    low, high = z.max(axis=1) < 4 + 1e-9, z.min(axis=1) > 13 - 1e-9
    assert low.any()
    assert high.any()
    assert len(shared_faces(small.cells[low], small.cells[high])) == 0


# --- An oblique gap ----------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["distal", "proximal"])
def test_bone_end_of_an_oblique_gap_is_the_ring_seen_aslant(oblique: Solved, end: str):
    # Plain geometry: a plane through a tube meets its cross-section's area over the cosine of the tilt.
    expected = pi * (SURFACE**2 - CANAL**2) / cos(radians(TILT))
    assert area(oblique.mesh, f"gap_{end}_face") == pytest.approx(expected, rel=5e-3)


def test_bone_ends_of_an_oblique_gap_lie_on_their_planes_and_face_each_other(oblique: Solved):
    # Definition: the nodes' heights are the face's; each normal points out of its bone.
    mesh = oblique.mesh
    ends = ends_of(OBLIQUE)
    for end, face, out in zip(("distal", "proximal"), ends, (1, -1), strict=True):
        faces = mesh.patches[f"gap_{end}_face"]
        x, y, z = mesh.nodes[np.unique(faces)].T
        assert z == pytest.approx(face.at(x, y), abs=1e-6)
        found = normals(mesh.nodes, faces)
        assert found == pytest.approx(np.tile(out * np.array(face.normal), (len(faces), 1)), abs=1e-6)


def test_volume_between_oblique_ends_is_that_of_a_flat_gap(oblique: Solved):
    # Cavalieri: every line along the shaft through the ring is as long as the gap.
    names = [part.name for part in oblique.mesh.parts]
    expected = pi * (SURFACE**2 - CANAL**2) * 3.7
    assert oblique.mesh.part_volumes[names.index("gap")] == pytest.approx(expected, rel=1e-3)
    assert oblique.mesh.worst_volume[1] <= VOLUME_TOLERANCE


@pytest.mark.parametrize("which", ["middle of the gap", "through tissue", "through bone"])
def test_whole_load_passes_a_cut_along_a_tilted_face(oblique: Solved, which: str):
    # Statics: everything above any cut is in balance, so the cut bears the unit loads themselves; its
    # moment is theirs, plus the force times the arm from the end face to the axis at the cut.
    frame = oblique.geometry.gap
    assert frame is not None
    face = {
        "middle of the gap": frame.middle,
        "through tissue": frame.lower.towards(frame.upper, 0.23),
        "through bone": replace(frame.middle, height=frame.height + 21.3),
    }[which]
    inside = Inside(
        oblique.mesh, part_elasticity(oblique.mesh, oblique.stage), oblique.solution.displacement
    )
    section = cut_level(inside, face)
    arm = oblique.geometry.length - face.height
    expected = np.eye(6)
    expected[3:, :3] = np.cross([0.0, 0.0, arm], np.eye(3)).T
    assert section.level == face.height
    assert section.total[:, :3] == pytest.approx(expected[:, :3], abs=1e-6 * arm)
    assert section.total[:, 3:] == pytest.approx(expected[:, 3:], abs=1e-6)
    middle = {"gap", "plate"} if which != "through bone" else {"cortex_proximal", "plate"}
    assert set(section.parts) >= middle


# --- A rough gap -------------------------------------------------------------------------------------


def test_volumes_of_a_rough_gap_are_exact(rough: Mesh):
    # The integral of the distance of the two ends over the ring, by Gauss points along the radius and
    # evenly spread ones round it; the mesh within a tenth of a percent, as it demands of itself.
    lower, upper = ends_of(ROUGH)
    places, weights = np.polynomial.legendre.leggauss(40)
    r = CANAL + (SURFACE - CANAL) * (places + 1) / 2
    turn = np.arange(180) * np.pi / 90
    x, y = r[:, None] * np.cos(turn), r[:, None] * np.sin(turn)
    ring = (weights * r * (SURFACE - CANAL) / 2)[:, None] * np.pi / 90
    expected = float((ring * (upper.at(x, y) - lower.at(x, y))).sum())
    gap = [part.name for part in rough.parts].index("gap")
    assert abs(expected - 3.7 * ring.sum() * 180) > 10  # the waves matter
    assert rough.parts[gap].exact_volume == pytest.approx(expected, rel=2e-4)
    assert rough.part_volumes[gap] == pytest.approx(expected, rel=1.2e-3)
    assert rough.worst_volume[1] <= VOLUME_TOLERANCE


@pytest.mark.parametrize(("end", "number"), [("distal", 0), ("proximal", 1)])
def test_rough_bone_ends_are_the_faces_that_were_asked_for(rough: Mesh, end: str, number: int):
    # Definition: corners of the mesh on the height field, to a few percent of the amplitude; its area
    # is larger than the ring's by half of the mean square of the slopes (small slopes, any text).
    face = ends_of(ROUGH)[number]
    faces = rough.patches[f"gap_{end}_face"]
    x, y, z = rough.nodes[np.unique(faces[:, :3])].T
    assert np.abs(z - face.at(x, y)).max() < 0.03 * 0.8
    assert np.ptp(z) > 0.8
    flat = pi * (SURFACE**2 - CANAL**2)
    steps = np.linspace(-SURFACE, SURFACE, 700)
    u, v = np.meshgrid(steps, steps)
    rise = np.gradient(face.at(u, v), steps[1] - steps[0])
    ring = (np.hypot(u, v) < SURFACE) & (np.hypot(u, v) > CANAL)
    expected = flat * np.sqrt(1 + rise[0] ** 2 + rise[1] ** 2)[ring].mean()
    assert expected > 1.01 * flat
    assert area(rough, f"gap_{end}_face") == pytest.approx(expected, rel=0.01)
