"""Bone without a gap: never cut, filled again, in balance, and softer across the shaft."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from geometries.bone import Femur
from geometries.femur import level_rings
from geometries.materials import MATERIALS
from geometries.profiles import canal_profile, outer_profile
from geometries.solids import Geometry, Part
from pipeline.errors import SolveError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.run.case import Case
from tests.models import (
    INTACT,
    LOADS,
    Solved,
    case_of,
    intact,
    plain_resultant,
    solve_stages,
    solved,
    worst,
)

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


def filled(whole: Solved) -> tuple[Case, Geometry, Mesh]:
    """An intact femur with tissue in place of its middle slabs, as between the ends of a plated bone.

    The mesh is the intact one's; only the material of the gap is another.
    """
    case = case_of({"kind": "plate", "name": "filled"}, "coarse", ("united",))

    def with_tissue(parts):
        return tuple(replace(p, material="tissue") if p.role == "gap" else p for p in parts)

    geometry = replace(whole.geometry, parts=with_tissue(whole.geometry.parts))
    mesh = replace(whole.mesh, parts=with_tissue(whole.mesh.parts))
    return replace(case, femur=whole.case.femur), geometry, mesh


# Transverse bone holds all that isotropic bone does here, and asks for a cortex of its own besides.
@pytest.mark.parametrize("cortex", [pytest.param("isotropic", marks=pytest.mark.slow), "transverse"])
def test_gap_filled_with_bone_is_intact(request: pytest.FixtureRequest, cortex: str):
    # Definition: "united" tissue is the cortex's own material, and without implants nothing else is
    # there.
    whole: Solved = request.getfixturevalue(cortex)
    united = solve_stages(*filled(whole))[0]
    assert united.stage.name == "united"
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


def test_intact_femur_is_bone_that_was_never_cut(transverse: Solved):
    # Definition. A cortex in one piece, meshed anew: the slabs of the gap must not show.
    femur, whole = transverse.case.femur, transverse.geometry
    levels = [0.0, *whole.sections, whole.length]
    pieces = level_rings(outer_profile(femur), canal_profile(femur), levels)
    cores = tuple(part for part in whole.parts if part.role == "cancellous")
    geometry = replace(
        whole,
        parts=(Part("cortex", "cortex", femur.cortical, pieces, whole.parts[0].wall), *cores),
        patches=tuple(patch for patch in whole.patches if not patch.name.startswith("gap")),
        gap=None,
    )
    uncut = solve_stages(transverse.case, geometry, build_mesh(geometry, "coarse"))[0]
    for quantity, load in (
        ("axial_stiffness", "pull"),
        ("torsional_stiffness", "twist"),
        ("bending_stiffness", "frontal"),
        ("bending_stiffness", "sagittal"),
    ):
        assert uncut.stiffness(quantity, load) == pytest.approx(
            transverse.stiffness(quantity, load), rel=1e-3
        )


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
