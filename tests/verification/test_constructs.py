"""Whole constructs: bone without a gap, a nail in torsion, and what more material does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometries.constructs import NailConstruct
from geometries.femur import level_rings
from geometries.nail import bolt_levels
from geometries.profiles import canal_profile, outer_profile
from geometries.solids import Geometry, Part
from pipeline.errors import SolveError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.measures.motion import face_motion
from pipeline.run.case import Case
from tests.models import (
    LOADS,
    Solved,
    Tube,
    case_of,
    plain_resultant,
    solve_stages,
    solved,
    worst,
)

INTACT = {"kind": "intact", "name": "intact"}
HIP = {
    "kind": "hip_force",
    "name": "hip",
    "force_n": 730.0,
    "adduction_deg": 11.0,
    "flexion_deg": 17.0,
}

# --- Bone without a gap ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def intact() -> Solved:
    return solved(case_of(INTACT, "coarse", loads=[*LOADS, HIP]))


@pytest.fixture(scope="module")
def filled(intact: Solved) -> tuple[Case, Geometry, Mesh]:
    """The intact femur with tissue in place of its middle slabs, as between the ends of a plated bone.

    The mesh is the intact one's; only the material of the gap is another.
    """
    case = case_of({"kind": "plate", "name": "filled"}, "coarse", ("united",))

    def with_tissue(parts):
        return tuple(replace(p, material="tissue") if p.role == "gap" else p for p in parts)

    geometry = replace(intact.geometry, parts=with_tissue(intact.geometry.parts))
    return case, geometry, replace(intact.mesh, parts=with_tissue(intact.mesh.parts))


def test_gap_filled_with_bone_is_intact(intact: Solved, filled: tuple[Case, Geometry, Mesh]):
    # Definition: "united" tissue is bone, and without implants nothing else is there.
    united = solve_stages(*filled)[0]
    assert united.stage.name == "united"
    for load in range(6):
        found, expected = (s.solution.displacement[:, :, load] for s in (united, intact))
        assert worst(found, expected) < 1e-7


def test_empty_gap_without_implants_is_refused(filled: tuple[Case, Geometry, Mesh]):
    # Statics: if the bone ends shared nodes, this would be solved.
    _, geometry, mesh = filled
    empty = case_of({"kind": "plate", "name": "empty"}, "coarse", ("empty",))
    assert empty.has_tissue
    with pytest.raises(SolveError, match="mechanism"):
        solve_stages(empty, geometry, mesh)


def test_intact_femur_is_bone_that_was_never_cut(intact: Solved):
    # Definition. A cortex in one piece, meshed anew: the slabs of the gap must not show.
    femur, whole = intact.case.femur, intact.geometry
    levels = [0.0, *whole.sections, whole.length]
    pieces = level_rings(outer_profile(femur), canal_profile(femur), levels)
    cores = tuple(part for part in whole.parts if part.role == "cancellous")
    geometry = replace(
        whole,
        parts=(Part("cortex", "cortex", "cortical", pieces, whole.parts[0].wall), *cores),
        patches=tuple(patch for patch in whole.patches if not patch.name.startswith("gap")),
        gap=None,
    )
    uncut = solve_stages(intact.case, geometry, build_mesh(geometry, "coarse"))[0]
    for quantity, load in (
        ("axial_stiffness", "pull"),
        ("torsional_stiffness", "twist"),
        ("bending_stiffness", "frontal"),
        ("bending_stiffness", "sagittal"),
    ):
        assert uncut.stiffness(quantity, load) == pytest.approx(
            intact.stiffness(quantity, load), rel=1e-3
        )


def test_reactions_of_the_femur_equal_every_unit_load(intact: Solved):
    # Statics; a moment's share is of force times length.
    L = intact.geometry.length
    reactions = plain_resultant(intact.mesh.nodes, intact.solution.reaction, np.array([0.0, 0.0, L]))
    arms = np.array([1.0, 1.0, 1.0, L, L, L])
    assert (np.abs(reactions + np.eye(6)) / arms[:, None] * arms[None, :] < 1e-6).all()


def test_reactions_to_a_hip_force_meet_it_at_the_head(intact: Solved):
    # Statics: two forces in balance are opposite and share a line. Seen from the head centre the
    # reactions have no moment, and across the shaft they go by the tangents of the two angles.
    femur, mesh = intact.case.femur, intact.mesh
    reaction = (intact.solution.reaction @ intact.wrenches["hip"])[:, :, None]
    head = np.array([femur.head_offset_mm, 0.0, femur.length_mm - femur.head_below_top_mm])
    *force, mx, my, mz = plain_resultant(mesh.nodes, reaction, head)[:, 0]
    assert np.linalg.norm(force) == pytest.approx(730.0, rel=1e-6)
    assert force == pytest.approx(force[2] * np.tan(np.radians([11.0, 17.0, 45.0])), rel=1e-6)
    assert force[2] > 0  # it holds the femur up against a force down the shaft
    assert np.abs([mx, my, mz]).max() < 1e-6 * 730.0 * femur.length_mm


# --- A nail alone in torsion -------------------------------------------------------------------------


@pytest.mark.slow
def test_nail_alone_twists_as_its_shaft_between_the_bolts():
    # Statics: across an empty gap only the nail carries torque, from the bolts on one side to those on
    # the other. Over the distance between the innermost bolts it twists by TL/GJ (Timoshenko &
    # Goodier; from memory); bolts and the bone round them add their own twist. The bolts fill their
    # holes, which shortens the free length by up to one diameter: 5 of 290 mm, hence 1.02.
    nail_alone = solved(case_of({"kind": "nail", "name": "nail"}, "coarse"))
    construct, load = nail_alone.case.construct, nail_alone.wrenches["twist"]
    assert isinstance(construct, NailConstruct)
    nail = construct.nail
    below, above = (
        face_motion(nail_alone.mesh, f"gap_{end}_face", nail_alone.solution.displacement)
        for end in ("distal", "proximal")
    )
    twist = ((above.rotation - below.rotation) @ load)[2]
    levels = bolt_levels(nail)
    tube = Tube(nail.diameter_mm, nail.cannulation_mm, nail.material)
    formula = tube.G * tube.J / (levels[nail.bolts.distal] - levels[nail.bolts.distal - 1])
    assert 0.75 <= load[5] / twist / formula <= 1.02


@pytest.mark.slow
def test_what_fills_the_canal_only_ever_stiffens():
    # Minimum potential energy: material added to a body lowers the work of every load (any text;
    # from memory). So void, filler and tie come in this order, in each of the six unit loads.
    works = []
    for canal in ("void", "filler", "bonded"):
        nail = {"diameter_mm": 12.0, "canal": canal}
        one = solved(case_of({"kind": "nail", "name": "nail", "nail": nail}, "coarse", ("atrophic",)))
        works.append(np.einsum("nil,nil->l", one.forces, one.solution.displacement))
    assert (works[0] > works[1]).all()
    assert (works[1] > works[2]).all()


@pytest.mark.slow
def test_a_second_plate_only_ever_stiffens():
    # Minimum potential energy, as above: two plates against the first of them alone.
    works = []
    for construct in ({"kind": "plate"}, {"kind": "two_plates"}):
        one = solved(case_of({"name": "one", **construct}, "coarse", ("atrophic",)))
        works.append(np.einsum("nil,nil->l", one.forces, one.solution.displacement))
    assert (works[0] > works[1]).all()
