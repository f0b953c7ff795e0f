"""Movement of a load's point and what causes it, against beams under an eccentric, skew force."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from pydantic import TypeAdapter

from geometries.bone import Femur
from geometries.materials import MATERIALS
from pipeline.fem.space import Array
from pipeline.loading.loads import Load
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.load_point import (
    WAYS,
    Push,
    load_point,
    load_point_tangent,
    movement_of,
    movements,
    stations,
)
from pipeline.measures.motion import Motion
from pipeline.run.superposition import push_of
from pipeline.verification.beams import cowper
from tests.models import Solved, Tube, case_of, geometry_of, solved, specimen

BONE = Tube(27.0, 11.0, "cortical")
LENGTH = 240.0
FORCE = np.array([-90.0, 160.0, -700.0])
POINT = np.array([41.0, -13.0, 226.0])
NONE = np.zeros(3)


@pytest.fixture(scope="module")
def tube() -> Solved:
    return solved(case_of(specimen(LENGTH, 20.0, (BONE.outer, BONE.inner, BONE.material)), "coarse"))


def shares_of(push: Push) -> Array:
    """Of the unit loads at the middle of the end."""
    return np.concatenate(push.wrench(np.array([0.0, 0.0, LENGTH])))


def expected(push: Push) -> dict[str, float]:
    """Work of the section forces of a clamped Timoshenko beam over the force (Castigliano; derived)."""
    z = np.linspace(0, LENGTH, 4001)
    moment = np.cross(push.point - z[:, None] * [0, 0, 1], push.force)
    x, y, along = push.force
    means = {
        "bending": np.mean(moment[:, 0] ** 2 + moment[:, 1] ** 2) / (BONE.E * BONE.I),
        "torsion": np.mean(moment[:, 2] ** 2) / (BONE.G * BONE.J),
        "axial": along**2 / (BONE.E * BONE.A),
        "shear": (x**2 + y**2) / (cowper(BONE) * BONE.G * BONE.A),
    }
    return {way: LENGTH * mean / np.linalg.norm(push.force) for way, mean in means.items()}


def test_parts_are_those_of_a_beam(tube: Solved):
    # A clamp stiffens by under 1 %; of the shear a slab's own bending by its shear force is 3 %.
    push = Push(POINT, FORCE, NONE)
    shaft = stations(tube.mesh, geometry_of(tube.case), tube.solution.displacement)
    found = movements(shaft, push, shares_of(push))
    assert set(found) == set(WAYS)
    for way, value in expected(push).items():
        assert found[way] == pytest.approx(value, rel=0.06 if way == "shear" else 0.012), way


def test_parts_add_up_to_what_the_force_does_on_its_point(tube: Solved):
    # Definition: movement of the rigid top at the point, along the force.
    push = Push(POINT, FORCE, NONE)
    shares, size = shares_of(push), np.linalg.norm(FORCE)
    shaft = stations(tube.mesh, geometry_of(tube.case), tube.solution.displacement)
    along = float(shaft[-1].at(POINT) @ shares @ FORCE / size)
    found = {(m.quantity, m.location): m.value for m in load_point(shaft, push, shares)}
    assert {quantity for quantity, _ in found} <= set(QUANTITIES)
    parts = [found["load_point_movement", f"load_point/{way}"] for way in WAYS]
    assert sum(parts) == pytest.approx(along, rel=1e-9)
    assert found["load_point_movement", "load_point"] == pytest.approx(along, rel=1e-9)
    assert found["load_point_stiffness", "load_point"] == pytest.approx(size / along, rel=1e-9)
    near = {"more": 1.01 * shares, "less": 0.99 * shares}
    tangent = load_point_tangent(shaft, push, near)
    assert tangent.quantity in QUANTITIES
    assert tangent.value == pytest.approx(size / along, rel=1e-9)  # linear: secant and tangent agree
    moved = movement_of(shaft[-1], "head", POINT, shares)
    assert moved.value == pytest.approx(np.linalg.norm(shaft[-1].at(POINT) @ shares))


def test_a_straight_push_has_no_part_but_its_own(tube: Solved):
    # Hooke: the end comes nearer by F L / E A.
    push = Push(np.array([0.0, 0.0, LENGTH]), np.array([0.0, 0.0, -800.0]), NONE)
    shaft = stations(tube.mesh, geometry_of(tube.case), tube.solution.displacement)
    found = movements(shaft, push, shares_of(push))
    area = pi / 4 * (27.0**2 - 11.0**2)
    assert found["axial"] == pytest.approx(
        800 * LENGTH / MATERIALS["cortical"].modulus / area, rel=0.01
    )
    assert max(abs(found[way]) for way in WAYS if way != "axial") < 1e-3 * found["axial"]


def load_of(**keys: object) -> Load:
    return TypeAdapter(Load).validate_python({"name": "one", **keys})


def test_a_guided_head_moves_along_its_line_whatever_the_clamp_does():
    # Statics: with the guide's reaction the force passes through the knee, so turning the whole bone
    # about the knee, which a clamp forbids and a joint does not, changes no work.
    femur = Femur()
    hip = load_of(
        kind="hip_force", force_n=900.0, adduction_deg=13.0, flexion_deg=4.0, support="hip_knee"
    )
    push = push_of(hip, femur, femur.top_mm)
    assert push is not None
    _, moment = push.wrench(NONE)
    np.testing.assert_allclose(moment[:2], 0, atol=1e-6)
    turn = np.array([0.004, -0.007, 0.0])[:, None]
    heights = (0.0, 120.0, 300.0, 430.0)
    places = [np.array([0.0, 0.0, z]) for z in heights]
    still = [Motion(p, np.outer(0.01 * p, [1.0]), 0 * turn, np.zeros((1, 1))) for p in places]
    turned = [
        Motion(m.about, m.translation + np.cross(turn[:, 0], m.about)[:, None], turn, m.misfit)
        for m in still
    ]
    one = np.ones(1)
    before, after = (sum(movements(shaft, push, one).values()) for shaft in (still, turned))
    assert after == pytest.approx(before, rel=1e-12)


@pytest.mark.parametrize(
    "keys",
    [
        {"kind": "torsion", "moment_nm": 5.0},
        {"kind": "walking"},
        {"kind": "forces", "forces": [
            {"name": "a", "at": "head", "force_n": [0, 0, -100]},
            {"name": "b", "at": "proximal_end", "force_n": [0, 0, -100]}]},
        {"kind": "forces", "forces": [{"name": "a", "at": "vastus_lateralis", "force_n": [0, 0, -9]}]},
    ],
    ids=["moment", "muscles", "two points", "below the top"],
)  # fmt: skip
def test_only_one_force_on_the_top_has_a_stiffness_at_its_point(keys: dict[str, object]):
    # Definition: of several points none is that of the load.
    femur = Femur()
    assert push_of(load_of(**keys), femur, femur.top_mm) is None


def test_forces_at_one_point_are_one_force():
    femur = Femur()
    both = [{"name": name, "at": "head", "force_n": [10.0, 0, -100.0]} for name in "ab"]
    push = push_of(load_of(kind="forces", forces=both), femur, femur.top_mm)
    assert push is not None
    assert push.force.tolist() == [20.0, 0.0, -200.0]
    assert push.point.tolist() == [femur.head_offset_mm, 0.0, femur.length_mm - femur.head_below_top_mm]
