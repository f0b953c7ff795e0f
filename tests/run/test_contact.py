"""Contact in whole constructs: free play by hand, balances with stops, and what nothing holds."""

from __future__ import annotations

from functools import cache
from math import degrees
from typing import Any

import pytest

from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.solving import CaseResult, run_case
from tests.models import FEW_CELLS, case_of

PLAY, LEVEL = 0.3, "coarse"
LOADS: list[dict[str, Any]] = [
    {"kind": "torsion", "name": "twist", "moment_nm": 8.0},
    {"kind": "bending", "name": "frontal", "plane": "frontal", "moment_nm": 9.0},
    {"kind": "end_force", "name": "push", "proximal_n": -600.0},
]
NAIL = {**FEW_CELLS, "canal": "contact"}


def nail_case(bolts: dict[str, Any], stages: tuple[str, ...] = ("empty",), **changes: Any) -> Case:
    construct = {
        "kind": "nail", "name": "n", "nail": {**NAIL, "bolts": bolts, **changes},
        "defect": {"bone_ends": "contact"},
    }  # fmt: skip
    return case_of(construct, LEVEL, stages, LOADS)


@cache
def loose() -> CaseResult:
    """A solid nail with play over an empty gap: nail and proximal bone end hang by stops alone."""
    return run_case(nail_case({"fit": "play", "play_mm": PLAY}), Clock())


def values(result: CaseResult, load: str) -> dict[tuple[str, str], float]:
    return {
        (one.measure.quantity, one.measure.location): one.measure.value
        for one in result.rows
        if one.load == load
    }


def test_the_neutral_zone_in_torsion_is_that_of_two_rigid_ends():
    # At either end the bolts meet the rims of the holes at c / r, with r to where the tube's surface
    # passes beside the bolt (plain geometry); both ends, both ways. What 1 % of the moment twists the
    # construct by either way is a hundredth of the twist by its tangent stiffness.
    found = values(loose(), "twist")
    lever = (10.0**2 / 4 - 5.0**2 / 4) ** 0.5
    play = 4 * degrees(PLAY / 2 / lever)
    elastic = 2 * 0.01 * 8.0 / found["torsional_stiffness_tangent", "sections"]
    assert found["free_rotation", "shaft"] == pytest.approx(play + elastic, rel=0.02)
    assert elastic < 0.1 * play


def test_the_secant_stiffness_has_the_play_in_it_and_the_tangent_has_not():
    # Half of the play is used up one way: moment over (half of the play + moment / tangent).
    found = values(loose(), "twist")
    tangent = found["torsional_stiffness_tangent", "sections"]
    play = 2 * degrees(PLAY / 2 / (5.0**2 - 2.5**2) ** 0.5)
    assert found["torsional_stiffness", "sections"] == pytest.approx(8 / (play + 8 / tangent), rel=0.02)
    assert tangent > 1.3 * found["torsional_stiffness", "sections"]


def test_everything_balances_with_the_forces_of_stops():
    # Statics: reactions, moments, energy with the work at stops, every cut and both free bodies.
    result = loose()
    assert not result.failures
    for row in result.rows:
        assert row.balance.fault() == ""
    for load in ("twist", "frontal", "push"):
        found = values(result, load)
        for (quantity, place), value in found.items():
            if quantity in ("statics_residual", "fragment_residual"):
                assert value < 1e-6, (load, quantity, place)


def test_no_overlap_is_left_and_what_is_clear_carries_nothing():
    for load in ("twist", "frontal", "push"):
        found = values(loose(), load)
        touches = {place for quantity, place in found if quantity == "contact_force"}
        assert touches >= {"canal_distal", "canal_proximal", "bolt_1", "bolt_4", "bone_ends"}
        for touch in touches:
            assert found["overlap_left", touch] <= 0.01 * 1.5
            bears = found["contact_force", touch] > 0
            assert bears == (("contact_height", touch) in found)
            assert not bears or found["clearance_used", touch] == pytest.approx(100, abs=1)
    assert values(loose(), "twist")["contact_force", "bolt_1"] > 50
    assert values(loose(), "twist")["contact_force", "bone_ends"] == 0


def test_bolts_share_the_axial_force():
    # Statics of the proximal bone end over an empty gap: only its two bolts hold it up. They push
    # along the shaft; sideways they may push too, so their sizes in sum are no less.
    found = values(loose(), "push")
    up = found["contact_force", "bolt_3"] + found["contact_force", "bolt_4"]
    down = found["contact_force", "bolt_1"] + found["contact_force", "bolt_2"]
    assert up >= 600 * (1 - 1e-6)
    assert down >= 600 * (1 - 1e-6)
    assert found["fragment_axial_force", "proximal/applied"] == pytest.approx(-600, rel=1e-6)


@pytest.mark.slow
def test_a_nail_without_proximal_bolts_holds_no_torque_over_an_empty_gap():
    # Frictionless: a smooth rod in a round canal carries no torque. The bone end slides down until the
    # ends meet, so the push is borne; bending is borne by the canal.
    result = run_case(nail_case({"fit": "play", "proximal": 0}), Clock())
    assert {load for _, load in result.failures} == {"twist"}
    sentence = result.failures["empty", "twist"]
    assert "cortex_proximal" in sentence
    assert "turn about the shaft" in sentence
    assert "no stop and no tissue holds it" in sentence
    found = values(result, "push")
    assert found["contact_force", "bone_ends"] == pytest.approx(600, rel=0.02)
    assert found["clearance_used", "bone_ends"] == pytest.approx(100, abs=1)


@pytest.mark.slow
def test_over_tissue_the_same_nail_bears_every_load():
    result = run_case(nail_case({"fit": "play", "proximal": 0}, ("woven",)), Clock())
    assert not result.failures


@pytest.mark.slow
def test_held_bolts_are_stiffer_than_sliding_ones():
    # A nail that can not slide along its bolts has one freedom less: no load finds it softer.
    slides = values(loose(), "frontal")
    held = values(
        run_case(nail_case({"play_mm": PLAY, "fit": "play", "along": "held"}), Clock()), "frontal"
    )
    key = "bending_stiffness", "sections"
    assert held[key] > slides[key]


@pytest.mark.slow
def test_without_play_and_held_the_nail_is_as_stiff_as_a_tied_one_but_for_its_holes():
    # c -> 0 with bolts held: rims instead of whole surfaces, and no turning of a bolt in its hole.
    tight = values(run_case(nail_case({"play_mm": 0.0, "along": "held"}), Clock()), "twist")
    tied = values(run_case(nail_case({"fit": "tied"}), Clock()), "twist")
    key = "torsional_stiffness", "sections"
    assert 0.85 * tied[key] < tight[key] <= 1.001 * tied[key]
    assert tight["free_rotation", "shaft"] < 0.02 * tight["gap_rotation", "shaft"] * 1.05
