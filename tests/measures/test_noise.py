"""What is nothing against the load is nothing in the tables, and has no shares."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.measures.dictionary import Measure
from pipeline.measures.internal import load_shares
from pipeline.measures.noise import load_sizes, settled
from pipeline.measures.sections import Section

LENGTH = 400.0
TWIST = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 10_000.0])


def test_sizes_are_those_at_any_level():
    # Statics: a force has an arm of up to the shaft's length, a moment makes a couple over it.
    load = np.array([3.0, 0.0, -4.0, 0.0, 2000.0, 0.0, 15.0])
    assert load_sizes(load, LENGTH) == pytest.approx((5 + 15 + 5, 2000 + 20 * LENGTH))


@pytest.mark.parametrize(
    ("measure", "expected"),
    [
        # A millionth of 10 N·m over 400 mm is 25e-6 N.
        (Measure("section_axial_force", "gap", 2e-6), 0.0),
        (Measure("section_axial_force", "gap", 4e-5), 4e-5),
        (Measure("section_bending_moment", "gap", 9e-14), 0.0),
        (Measure("section_torque", "gap", 10.0), 10.0),
        (Measure("gap_axial_movement", "far", 1e-10), 0.0),
        (Measure("gap_axial_movement", "far", -3e-6), -3e-6),
        (Measure("tissue_strain_major", "p50", 1e-9), 0.0),
        (Measure("strain_band", "classical/2_to_10", 1e-5), 1e-5),  # a share of a volume, no answer
        (Measure("contact_height", "canal_distal", 1e-3), 1e-3),
        (Measure("torsional_stiffness", "sections", 1e-12), 1e-12),
        (Measure("gap_rotation", "shaft", 1e-8), 0.0),  # a degree moves 57 mm away by a millimetre
        (Measure("gap_rotation", "shaft", 1e-5), 1e-5),
    ],
)
def test_what_lies_below_the_balance_is_nought(measure: Measure, expected: float):
    # Definition: 1e-6 of the load, or of the largest of its kind under the load.
    others = [
        Measure("gap_shear_movement", "far", 0.8),
        Measure("tissue_strain_octahedral", "p50", 30.0),
        Measure("strain_band", "classical/under_2", 99.0),
        Measure("contact_height", "canal_proximal", 380.0),
    ]
    assert next(settled([measure, *others], TWIST, LENGTH)).value == expected


def shares(plate: float, bone: float, load: float = 1000.0) -> list[str]:
    """Parts of which a share of the axial force is told."""
    parts = {"plate": np.zeros((6, 1)), "bone": np.zeros((6, 1))}
    parts["plate"][2], parts["bone"][2] = plate, bone
    centres = {name: np.zeros(3) for name in parts}
    section = Section(200.0, parts, centres)
    found = load_shares(section, "gap", np.ones(1), (load, 400.0 * load))
    return [one.location for one in found if one.quantity == "axial_load_share"]


def test_of_next_to_nothing_there_are_no_shares():
    # Definition: parts that push against each other leave too little to share; so does round-off.
    assert shares(-400.0, -600.0) == ["gap/plate", "gap/bone"]
    assert shares(-400.0, 450.0) == ["gap/plate", "gap/bone"]
    assert shares(-400.0, 430.0) == []
    assert shares(-400.0, 400.0 + 1e-9) == []
    assert shares(-1e-8, -2e-8) == []


def test_an_implant_without_stress_has_no_factors():
    # Definition: yield stress over round-off is no factor; that of a part that is stressed is one.
    stressed = [Measure("von_mises_5mm3", "plate", 300.0), Measure("yield_factor", "plate", 2.6)]
    bare = [
        Measure("von_mises_5mm3", "nail", 1e-10),
        Measure("yield_factor", "nail", 8e12),
        Measure("endurance_factor", "nail/notched", 2e12),
    ]
    found = {(m.quantity, m.location): m.value for m in settled([*stressed, *bare], TWIST, LENGTH)}
    assert found == {
        ("von_mises_5mm3", "plate"): 300.0,
        ("yield_factor", "plate"): 2.6,
        ("von_mises_5mm3", "nail"): 0.0,
    }
