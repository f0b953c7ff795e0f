"""Tubes as beams, through the stages of a study: tip deflection and the stiffness between sections."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.measures.motion import face_motion
from pipeline.verification.beams import BONE, NAIL, cowper, newton_metres_per_degree
from tests.models import (
    BEND_NM,
    SIDE_N,
    TWIST_NM,
    Solved,
    case_of,
    solved,
    specimen,
)

INSET = 20.0
LENGTHS = (120.0, 160.0, 220.0)


@pytest.fixture(scope="module")
def tubes() -> dict[float, Solved]:
    """A nail's shaft without holes, clamped at one end, by length: more than ten diameters each.

    Coarser than that of `gapstrain verify`, within the same tolerances.
    """
    layer = (NAIL.outer, NAIL.inner, NAIL.material)
    return {L: solved(case_of(specimen(L, INSET, layer), "coarse")) for L in LENGTHS}


def beam_deflection(L: float) -> float:
    """Timoshenko beam under an end force, mm: PL³/3EI + PL/kGA (read)."""
    bending = SIDE_N * L**3 / (3 * NAIL.E * NAIL.I)
    return bending + SIDE_N * L / (cowper(NAIL) * NAIL.G * NAIL.A)


def tip_deflection(tube: Solved) -> float:
    """Mean over the end section, mm."""
    return face_motion(tube.mesh, "proximal_end", tube.under("side")).translation[0, 0]


@pytest.mark.parametrize("L", LENGTHS)
def test_tip_deflection_of_a_cantilever(tubes: dict[float, Solved], L: float):
    # A clamp that also stops the sideways contraction stiffens by under 1 % at these lengths.
    assert tip_deflection(tubes[L]) == pytest.approx(beam_deflection(L), rel=0.01)


def test_only_the_clamp_parts_solid_from_beam(tubes: dict[float, Solved]):
    # A clamp spares a fixed rotation c per moment, so PL·c·L against PL³/3EI: its share falls as 1/L
    # (statics). What a straight line through the shares leaves at 1/L = 0 is the beam's own error.
    shares = [tip_deflection(tubes[L]) / beam_deflection(L) - 1 for L in LENGTHS]
    _, beam_error = np.polyfit([1 / L for L in LENGTHS], shares, 1)
    assert abs(beam_error) < 1e-3


@pytest.mark.parametrize(("plane", "axis"), [("frontal", 0), ("sagittal", 1)])
def test_positive_moment_tilts_the_end_medially_or_forwards(
    tubes: dict[float, Solved], plane: str, axis: int
):
    # ML²/2EI (derived). Directions as the study file defines them: x medial, y forwards.
    L = LENGTHS[-1]
    expected = np.zeros(3)
    expected[axis] = 1000 * BEND_NM * L**2 / (2 * NAIL.E * NAIL.I)
    tip = face_motion(tubes[L].mesh, "proximal_end", tubes[L].under(plane)).translation[:, 0]
    np.testing.assert_allclose(tip, expected, atol=0.01 * expected[axis])


def test_positive_torque_turns_the_medial_side_forwards(tubes: dict[float, Solved]):
    # TL/GJ times the radius (derived). The medial point of the rim moves forwards.
    L = LENGTHS[-1]
    mesh, u = tubes[L].mesh, tubes[L].under("twist")[:, :, 0]
    medial = np.linalg.norm(mesh.nodes - [NAIL.outer / 2, 0.0, L], axis=1).argmin()
    forwards = 1000 * TWIST_NM * L / (NAIL.G * NAIL.J) * mesh.nodes[medial, 0]
    np.testing.assert_allclose(u[medial], [0.0, forwards, 0.0], atol=0.005 * forwards)


@pytest.mark.parametrize("L", LENGTHS)
def test_axial_stiffness_is_ea_over_length(tubes: dict[float, Solved], L: float):
    # EA/L between the reference sections, away from the clamp: definition.
    expected = NAIL.E * NAIL.A / (L - 2 * INSET)
    assert tubes[L].stiffness("axial_stiffness", "pull") == pytest.approx(expected, rel=3e-3)


@pytest.mark.parametrize("L", LENGTHS)
def test_torsional_stiffness_is_gj_over_length(tubes: dict[float, Solved], L: float):
    # Torsion of a round bar: Timoshenko & Goodier, Theory of Elasticity; derived.
    expected = newton_metres_per_degree(NAIL.G * NAIL.J, L - 2 * INSET)
    assert tubes[L].stiffness("torsional_stiffness", "twist") == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize("plane", ["frontal", "sagittal"])
@pytest.mark.parametrize("L", LENGTHS)
def test_bending_stiffness_is_ei(tubes: dict[float, Solved], L: float, plane: str):
    # Pure bending: Timoshenko & Goodier, Theory of Elasticity; derived.
    expected = NAIL.E * NAIL.I * 1e-6
    assert tubes[L].stiffness("bending_stiffness", plane) == pytest.approx(expected, rel=5e-3)


@pytest.fixture(scope="module")
def nail_in_bone() -> Solved:
    """A nail bonded all along in a tube of bone; sections one and a half bone diameters inside."""
    layers = [(t.outer, t.inner, t.material) for t in (BONE, NAIL)]
    return solved(case_of(specimen(160.0, 40.0, *layers), "coarse"))


# Sums over the two tubes. Torsion: exact for any constants, since circles stay circles (statics).
# Tension and bending: exact only for equal Poisson's ratios; the excess for unlike ones is second
# order in their difference (Hill 1964, J Mech Phys Solids 12:199; recomputed), here 0.03² of the
# whole, far under the 0.2 % allowed.


def test_bonded_tubes_add_their_ea(nail_in_bone: Solved):
    expected = (NAIL.E * NAIL.A + BONE.E * BONE.A) / 80.0
    assert nail_in_bone.stiffness("axial_stiffness", "pull") == pytest.approx(expected, rel=2e-3)


def test_bonded_tubes_add_their_gj(nail_in_bone: Solved):
    expected = newton_metres_per_degree(NAIL.G * NAIL.J + BONE.G * BONE.J, 80.0)
    assert nail_in_bone.stiffness("torsional_stiffness", "twist") == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("plane", ["frontal", "sagittal"])
def test_bonded_tubes_add_their_ei(nail_in_bone: Solved, plane: str):
    expected = (NAIL.E * NAIL.I + BONE.E * BONE.I) * 1e-6
    assert nail_in_bone.stiffness("bending_stiffness", plane) == pytest.approx(expected, rel=2e-3)
