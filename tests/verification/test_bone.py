"""Bone without a gap: never cut, filled again, in balance, and softer across the shaft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from geometries.bone import Defect, Femur
from geometries.defect import bone_ends, tissue_parts
from geometries.femur import bone_parts
from geometries.materials import MATERIALS
from geometries.solids import BONE_ENDS, Contact, Geometry
from pipeline.errors import SolveError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.measures.motion import motions
from pipeline.run.case import Case
from pipeline.run.solving import Measured, measure
from tests.models import (
    INTACT,
    LOADS,
    PULL_N,
    Solved,
    case_of,
    intact,
    plain_resultant,
    solve_stages,
    solved,
    worst,
)

ENERGY = "bone_energy_density"
HIP = {
    "kind": "hip_force",
    "name": "hip",
    "force_n": 730.0,
    "adduction_deg": 11.0,
    "flexion_deg": 17.0,
}


@pytest.fixture(scope="module")
def transverse() -> Solved:
    return intact([*LOADS, HIP])


@pytest.fixture(scope="module")
def isotropic() -> Solved:
    """The same femur, of bone that is as stiff across the shaft as along it."""
    return femur_of(cortex="isotropic")


def femur_of(**changes: Any) -> Solved:
    """The intact femur with other parameters."""
    return solved(replace(case_of(INTACT, "coarse"), femur=Femur(**changes)))


def divided(whole: Solved) -> Geometry:
    """A femur with tissue between its bone ends, which are faces of the mesh, and no implant."""
    femur, defect, geometry = whole.case.femur, whole.case.own_defect, whole.geometry
    parts = bone_parts(femur, None, bone_ends(femur, defect), geometry.sections)
    parts += tissue_parts(femur, None, defect)
    faces = (Contact(name, f"cortex_{end}", "gap") for name, end in BONE_ENDS.items())
    return replace(geometry, parts=tuple(parts), patches=(*geometry.patches, *faces), cuts={})


def of_bone(parts: Sequence[Any], cortical: str) -> tuple[Any, ...]:
    """The same with bone in the place of tissue."""
    return tuple(replace(one, material=cortical) if one.role == "gap" else one for one in parts)


def filled(whole: Solved) -> tuple[Case, Geometry, Mesh]:
    """A femur with a gap that nothing bridges but tissue, on a mesh of its own."""
    case = case_of({"kind": "plate", "name": "filled"}, "coarse", ("united",))
    geometry = divided(whole)
    return replace(case, femur=whole.case.femur), geometry, build_mesh(geometry, "coarse")


def conforming(whole: Solved) -> Solved:
    """The intact femur on a mesh with faces where the bone ends of a gap would lie."""
    geometry, cortical = divided(whole), whole.case.femur.cortical
    mesh = build_mesh(geometry, "coarse")
    geometry = replace(geometry, parts=of_bone(geometry.parts, cortical))
    mesh = replace(mesh, parts=of_bone(mesh.parts, cortical))
    return solve_stages(whole.case, geometry, mesh)[0]


# Transverse bone holds all that isotropic bone does here, and asks for a cortex of its own besides.
@pytest.mark.parametrize("cortex", [pytest.param("isotropic", marks=pytest.mark.slow), "transverse"])
def test_gap_filled_with_bone_is_intact(request: pytest.FixtureRequest, cortex: str):
    # Definition: "united" tissue is the cortex's own material, and without implants nothing else is
    # there.
    femur: Solved = request.getfixturevalue(cortex)
    case, geometry, mesh = filled(femur)
    united = solve_stages(case, geometry, mesh)[0]
    assert united.stage.name == "united"
    bone = replace(mesh, parts=of_bone(mesh.parts, femur.case.femur.cortical))
    whole = solve_stages(femur.case, geometry, bone)[0]
    for load in range(6):
        found, expected = (s.solution.displacement[:, :, load] for s in (united, whole))
        assert worst(found, expected) < 1e-7


def test_empty_gap_without_implants_is_refused(transverse: Solved):
    # Statics: if the bone ends shared nodes, this would be solved.
    _, geometry, mesh = filled(transverse)
    empty = case_of({"kind": "plate", "name": "empty"}, "coarse", ("empty",))
    assert empty.has_tissue
    with pytest.raises(SolveError, match="mechanism"):
        solve_stages(empty, geometry, mesh)


@pytest.mark.parametrize(
    "defect",
    [
        Defect(gap_mm=3.0),
        pytest.param(Defect(site_percent=75.0, gap_mm=20.0), marks=pytest.mark.slow),
        pytest.param(Defect(site_percent=40.0, gap_mm=9.0, oblique_deg=30.0), marks=pytest.mark.slow),
    ],
    ids=["3 mm", "wide", "oblique"],
)
def test_whole_bone_is_read_where_a_mesh_has_faces_as_where_it_has_none(
    transverse: Solved, defect: Defect
):
    # Definition: bone ends that are no ends must not show. The same femur, meshed anew with their faces
    # in it; two meshes differ by no more than the errors that are told of both.
    construct = transverse.case.construct.model_copy(update={"defect": defect})
    case = replace(transverse.case, construct=construct)
    cut = solve_stages(case, case.geometry(), transverse.mesh)[0]
    faced = conforming(replace(transverse, case=case, geometry=case.geometry()))
    for quantity, load in (
        ("axial_stiffness", "pull"),
        ("torsional_stiffness", "twist"),
        ("bending_stiffness", "frontal"),
        ("bending_stiffness", "sagittal"),
    ):
        assert cut.stiffness(quantity, load) == pytest.approx(faced.stiffness(quantity, load), rel=1e-3)
    found, expected = (told(one) for one in (cut, faced))
    assert len(found.keys() & expected.keys()) > 100
    beyond = {
        key: (found[key].measure.value, expected[key].measure.value)
        for key in found.keys() & expected.keys()
        if apart(found[key], expected[key]) > 1
    }
    assert not beyond


def told(one: Solved) -> dict[tuple[str, str, str], Measured]:
    """Movements of the bone ends, without what they leave over, which under a torque is round-off."""
    return {
        (row.load, row.measure.quantity, row.measure.location): row
        for row in measure(one.mesh, one.geometry, one.case, one.found)
        if row.measure.quantity.startswith(("gap_", "interfragmentary", "rim_"))
        and row.measure.quantity not in ("rim_side", "gap_face_misfit")  # the first is an angle
    }


def apart(one: Measured, other: Measured) -> float:
    """Difference of two results in the sum of the half-widths of their errors."""
    assert one.error is not None
    assert other.error is not None
    return abs(one.measure.value - other.measure.value) / (one.error.half + other.error.half)


def test_whole_bone_moves_and_strains_with_its_mesh(transverse: Solved):
    # Definition: a rigid motion, and a linear field, whose best rigid motion over a level ring is its
    # value at the centre, and half of its curl but for what each slope along the ring adds.
    mesh, geometry = transverse.mesh, transverse.geometry
    turn, shift = np.array([2e-3, -5e-4, 7e-4]), np.array([0.3, -0.2, 0.9])
    slopes = np.random.default_rng(3).normal(scale=1e-3, size=(3, 3))
    fields = np.stack([shift + np.cross(turn, mesh.nodes), shift + mesh.nodes @ slopes.T], axis=2)
    found = motions(mesh, geometry, fields)
    for name, z in zip(BONE_ENDS, (213.5, 216.5), strict=True):
        motion, centre = found[name], np.array([0.0, 0.0, z])
        np.testing.assert_allclose(motion.about, centre, atol=1e-9)
        moved = np.stack([shift + np.cross(turn, centre), shift + slopes @ centre], axis=1)
        np.testing.assert_allclose(motion.translation, moved, rtol=1e-9)
        bent = np.array([slopes[2, 1], -slopes[2, 0], (slopes[1, 0] - slopes[0, 1]) / 2])
        np.testing.assert_allclose(motion.rotation, np.stack([turn, bent], axis=1), rtol=1e-9)
        assert abs(motion.misfit[0, 0]) < 1e-18


def test_both_halves_of_whole_bone_are_in_balance(transverse: Solved):
    # Statics: force and moment on each half close; what goes through the cut is what is above it.
    for load in transverse.wrenches:
        for fragment in ("distal", "proximal"):
            assert transverse.measures[load, "fragment_residual", fragment] < 1e-8
        assert transverse.measures[load, "statics_residual", "gap"] < 1e-8
    pull = transverse.measures["pull", "fragment_axial_force", "distal/gap"]
    assert pull == pytest.approx(PULL_N)
    assert transverse.measures["pull", "axial_load_share", "gap/gap"] == pytest.approx(100)
    zones = [place for load, what, place in transverse.measures if (load, what) == ("pull", ENERGY)]
    assert zones == [
        f"{end}/{zone}" for end in ("distal", "proximal") for zone in ("0-20mm", "20-60mm", "60-150mm")
    ]


def test_reactions_of_the_femur_equal_every_unit_load(transverse: Solved):
    # Statics; a moment's share is of force times length.
    L = transverse.geometry.length
    reactions = plain_resultant(
        transverse.mesh.nodes, transverse.solution.reaction, np.array([0.0, 0.0, L])
    )
    arms = np.array([1.0, 1.0, 1.0, L, L, L])
    assert (np.abs(reactions + np.eye(6)) / arms[:, None] * arms[None, :] < 1e-6).all()


def test_reactions_to_a_hip_force_meet_it_at_the_head(transverse: Solved):
    # Statics: two forces in balance are opposite and share a line. Seen from the head centre the
    # reactions have no moment, and across the shaft they go by the tangents of the two angles.
    femur, mesh = transverse.case.femur, transverse.mesh
    reaction = (transverse.solution.reaction @ transverse.wrenches["hip"])[:, :, None]
    head = np.array([femur.head_offset_mm, 0.0, femur.length_mm - femur.head_below_top_mm])
    *force, mx, my, mz = plain_resultant(mesh.nodes, reaction, head)[:, 0]
    assert np.linalg.norm(force) == pytest.approx(730.0, rel=1e-6)
    assert force == pytest.approx(force[2] * np.tan(np.radians([11.0, 17.0, 45.0])), rel=1e-6)
    assert force[2] > 0  # it holds the femur up against a force down the shaft
    assert np.abs([mx, my, mz]).max() < 1e-6 * 730.0 * femur.length_mm


# --- Bone with other constants across the shaft ------------------------------------------------------


def test_transverse_bone_has_its_published_constants():
    # Reilly & Burstein 1975, J Biomech 8:393; as quoted from Cowin 1989 in an open script.
    C = MATERIALS["cortical_transverse"].elasticity
    compliance = np.linalg.inv(C)
    assert 1 / compliance[[0, 1, 2], [0, 1, 2]] == pytest.approx([11_500, 11_500, 17_000])
    assert 1 / compliance[[4, 5], [4, 5]] == pytest.approx([3300, 3300])
    assert -compliance[2, 0] / compliance[2, 2] == pytest.approx(0.46)
    assert np.linalg.eigvalsh(C).min() > 0
    across = compliance[0, 0] - compliance[0, 1]  # isotropy of the cross-section
    assert compliance[3, 3] == pytest.approx(2 * across)


def test_transverse_bone_twists_by_its_shear_modulus(isotropic: Solved, transverse: Solved):
    # Saint-Venant: torsion of a round shaft goes by G alone, 3300 against 17000 / 2.6; its axial and
    # bending stiffness go by E along the shaft, the same. Cancellous ends change it a little.
    both = (isotropic, transverse)
    torsion = [s.stiffness("torsional_stiffness", "twist") for s in both]
    assert torsion[1] / torsion[0] == pytest.approx(3300 / (17_000 / 2.6), rel=0.02)
    for quantity, load in (("axial_stiffness", "pull"), ("bending_stiffness", "frontal")):
        found = [s.stiffness(quantity, load) for s in both]
        assert found[1] / found[0] == pytest.approx(1, rel=0.02)


# --- Size and direction ------------------------------------------------------------------------------


def test_a_larger_femur_is_stiffer_in_proportion():
    # Similarity: E A / L grows with size, G J / L with its cube, E I with its fourth power; definition.
    # All lengths of the bone times 1.25, those that the model fixes at its ends among them.
    sizes = {
        "length_mm": 380.0, "shaft_diameter_mm": 24.0, "canal_diameter_mm": 9.0,
        "distal_diameter_mm": 28.0, "distal_cortex_mm": 4.7, "proximal_diameter_mm": 37.0,
    }  # fmt: skip
    small, large = femur_of(**sizes), femur_of(**{key: 1.25 * size for key, size in sizes.items()})
    for quantity, load, power in (
        ("axial_stiffness", "pull", 1), ("torsional_stiffness", "twist", 3),
        ("bending_stiffness", "frontal", 4),
    ):  # fmt: skip
        found = large.stiffness(quantity, load) / small.stiffness(quantity, load)
        assert found == pytest.approx(1.25**power, rel=0.01), quantity


def test_a_round_femur_bends_alike_in_both_planes(transverse: Solved):
    # Symmetry of a body of revolution; its mesh has none.
    planes = [transverse.stiffness("bending_stiffness", one) for one in ("frontal", "sagittal")]
    assert planes[0] == pytest.approx(planes[1], rel=1e-3)
