"""What sections and sleeves report, in the units of the dictionary, from numbers known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.measures.bone import Sleeve, sleeve_strain
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.field import Field
from pipeline.measures.internal import section_forces
from pipeline.measures.sections import Section

ONE = np.ones(1)


def test_a_section_tells_forces_in_newtons_and_moments_in_newton_metres():
    # Statics: two parts add up; 3-4-5 and 5-12-13 triangles.
    bone = np.array([200.0, -100.0, -900.0, 4000.0, -9000.0, 7000.0])
    nail = np.array([100.0, 500.0, 250.0, 1000.0, -3000.0, -5500.0])
    parts = {"bone": bone[:, None], "nail": nail[:, None]}
    found = {m.quantity: m.value for m in section_forces(Section(210.0, parts, {}), "gap", ONE)}
    assert found == {
        "section_axial_force": pytest.approx(-650),
        "section_shear_force": pytest.approx(500),
        "section_bending_moment": pytest.approx(13),
        "section_torque": pytest.approx(1.5),
    }
    assert QUANTITIES["section_torque"].unit == QUANTITIES["section_bending_moment"].unit == "N·m"


def test_crushed_bone_round_a_pin_is_its_most_compressed_twentieth():
    # Definition: compression rises evenly from 0 to 1 %, so a twentieth lies beyond 0.95 %, three
    # tenths beyond 0.7 %.
    strain = np.zeros((1000, 6, 1))
    strain[:, 2, 0] = -0.01 * (np.arange(1000) + 0.5) / 1000
    sleeve = Sleeve("screw_1/near", Field(strain, np.full(1000, 0.02)))
    found = {(m.quantity, m.location): m.value for m in sleeve_strain(sleeve, ONE)}
    assert found["screw_bone_strain_p5", "screw_1/near"] == pytest.approx(-0.95)
    assert found["screw_bone_strain_mean", "screw_1/near"] == pytest.approx(-0.5)
    assert found["screw_bone_volume_over", "screw_1/near/0.7"] == pytest.approx(0.3 * 1000 * 0.02)
