"""Free play and the stiffness beyond it, from made-up motions of two faces, by hand."""

from __future__ import annotations

from math import degrees

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct
from pipeline.fem.space import Array
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.motion import Motion
from pipeline.measures.play import NEARBY, Ends
from tests.models import case_of, geometry_of, specimen, tube

STILL = np.zeros((3, 2))
FRAME = assemble(NailConstruct(name="n", kind="nail"), Femur(), Defect()).gap
SHIFT = np.array([[0.3, 0.0], [0.0, 0.0], [0.4, 0.0]])  # mm in the first column
TURN = np.array([[0.0, 0.0], [0.0, 0.0], [0.0, 0.01]])  # radians about the shaft in the second


def face(height: float, translation: Array = STILL, rotation: Array = STILL) -> Motion:
    return Motion(np.array([0.0, 0.0, height]), translation, rotation, np.zeros((2, 2)))


def ends() -> Ends:
    assert FRAME is not None
    gap = face(213.5), face(216.5, SHIFT, TURN)
    return Ends(FRAME, gap, (face(60.0), face(370.0, SHIFT, TURN)))


def by_name(found: list[Measure]) -> dict[tuple[str, str], float]:
    assert {one.quantity for one in found} <= set(QUANTITIES)
    return {(one.quantity, one.location): one.value for one in found}


def test_free_play_is_what_lies_between_a_little_load_and_its_opposite():
    # By hand: shares of 1 and 2, and -1 and -1, are 2 and 3 apart; 0.6, 0 and 0.8 mm and 0.03 radians
    # about the shaft, which moves the surface of a bone of 27 mm by 0.405 mm more.
    near = {"plus": np.array([1.0, 2.0]), "minus": np.array([-1.0, -1.0])}
    found = by_name(list(ends().play(near)))
    assert found["free_movement", "centre"] == pytest.approx(1.0)
    assert found["free_movement", "near"] == pytest.approx((0.36 + 0.64 + 0.405**2) ** 0.5)
    assert found["free_movement", "far"] == pytest.approx(found["free_movement", "near"])
    assert found["free_rotation", "shaft"] == pytest.approx(degrees(0.03))
    assert found["free_rotation", "medial_axis"] == found["free_rotation", "anterior_axis"] == 0
    assert len(found) == 6


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_free_play_has_no_sign(sign: float):
    # Definition: a load and its opposite have the same play.
    near = {"plus": sign * np.array([0.0, 2.0]), "minus": sign * np.array([0.0, -1.0])}
    found = by_name(list(ends().play(near)))
    assert found["free_rotation", "shaft"] == pytest.approx(degrees(0.03))


def test_stiffness_beyond_the_play_is_that_of_a_step_about_the_load():
    # By hand: 2 % of 1000 N·mm, and 0.002 of the second column, whatever the load itself has moved.
    load = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 1000.0])
    assert NEARBY["more"] - NEARBY["less"] == pytest.approx(0.02)
    near = {"more": np.array([5.0, 7.012]), "less": np.array([5.0, 7.010])}
    found = by_name(list(ends().tangent(load, near)))
    expected = 0.02 / degrees(0.002 * 0.01)
    assert found == {("torsional_stiffness_tangent", "sections"): pytest.approx(expected)}


def test_a_construct_without_a_gap_has_no_play():
    # Definition: a specimen has no bone ends.
    mesh, geometry = (
        tube(),
        geometry_of(case_of(specimen(17.0, 4.0, (15.0, 4.0, "cortical")), "coarse")),
    )
    assert Ends.of(mesh, geometry, np.zeros((len(mesh.nodes), 3, 2))) is None
