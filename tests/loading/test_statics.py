"""Loads by statics done here once more by hand, and against published sums."""

from __future__ import annotations

from math import cos, radians, sin
from typing import Any, get_args

import numpy as np
import pytest
from pydantic import TypeAdapter

from geometries.bone import Femur
from geometries.errors import StudyError
from geometries.profiles import outer_profile
from pipeline.loading.activities import PEAKS
from pipeline.loading.applied import Array
from pipeline.loading.loads import Load, Stairs, Stance, Walking
from pipeline.loading.statics import (
    Action,
    actions,
    carriers,
    check_points,
    coefficients,
    points,
    resultant,
    section_load,
)

# No default of any, so that swapped numbers show.
FEMUR = Femur(length_mm=412.0, head_offset_mm=39.0, head_below_top_mm=21.0, proximal_diameter_mm=44.0)
LENGTH, HEAD = 412.0, np.array([39.0, 0.0, 391.0])
KNEE = np.zeros(3)
TOP = np.array([0.0, 0.0, LENGTH])
WEIGHT = 9.81 * 63.0 * 0.4  # N: mass and share below
ANY = TypeAdapter(Load)


def load(kind: str, **keys: Any) -> Load:
    return ANY.validate_python({"kind": kind, "name": "any", **keys})


def activity(kind: str, **keys: Any) -> Load:
    return load(kind, body_weight_kg=63.0, fraction=0.4, muscles=tuple(PEAKS[kind].muscles), **keys)


FORCES = [
    {"name": "a", "at": "head", "force_n": [11.0, -7.0, -300.0]},
    {"name": "b", "at": "vastus_medialis", "force_n": [-5.0, 3.0, 40.0]},
    {"name": "c", "at": [10.0, 4.0, 150.0], "force_n": [2.0, 13.0, -17.0]},
    {"name": "d", "at": "vastus_medialis", "force_n": [1.0, 2.0, 4.0]},
    {"name": "e", "at": "proximal_end", "force_n": [0.0, 21.0, 0.0]},
]
ALL = [
    load("hip_force", force_n=700.0, adduction_deg=11.0, flexion_deg=-17.0),
    load("hip_force", force_n=700.0, adduction_deg=11.0, flexion_deg=-17.0, support="hip_knee"),
    load("torsion", moment_nm=7.0),
    load("bending", plane="frontal", moment_nm=-11.0),
    load("bending", plane="sagittal", moment_nm=13.0),
    load("end_force", medial_n=31.0, anterior_n=-37.0, proximal_n=-410.0),
    load("end_force", medial_n=31.0, anterior_n=-37.0, proximal_n=-410.0, support="hip_knee"),
    load("stance", adduction_deg=15.0),
    load("stance", adduction_deg=15.0, support="hip_knee"),
    activity("walking"),
    activity("walking", support="distal_end"),
    activity("stairs"),
    load("forces", forces=FORCES),
    load("forces", forces=FORCES, support="hip_knee"),
]
each = pytest.mark.parametrize("one", ALL, ids=[f"{one.kind}-{one.support}" for one in ALL])
hinged = pytest.mark.parametrize("one", [one for one in ALL if one.support == "hip_knee"])


def moment(at: Array, force: Array) -> Array:
    """Arm times force, written out."""
    (x, y, z), (fx, fy, fz) = at, force
    return np.array([y * fz - z * fy, z * fx - x * fz, x * fy - y * fx])


def total(acting: Any, about: Array) -> Array:
    """Force and moment of everything, by a plain sum."""
    acting = list(acting)
    force = sum(one.force for one in acting)
    turning = sum(one.moment + moment(one.point - about, one.force) for one in acting)
    return np.concatenate([force, turning])


# --- Published forces -----------------------------------------------------------------------------


def rows(kind: str) -> Array:
    pulls = [PEAKS[kind].contact, *(pull for both in PEAKS[kind].muscles.values() for pull in both)]
    return np.array([pull.percent for pull in pulls])


@pytest.mark.parametrize(("kind", "percent"), [("walking", 238.0), ("stairs", 251.0)])
def test_size_of_the_hip_contact(kind: str, percent: float):
    # Bergmann et al. 2001, J Biomech 34:859: mean peaks 238 and 251 % of body weight (read).
    assert np.linalg.norm(PEAKS[kind].contact.percent) == pytest.approx(percent, abs=0.5)


@pytest.mark.parametrize(
    ("kind", "percent"), [("walking", (9.8, 0.9, -241.4)), ("stairs", (12.7, 37.0, -561.2))]
)
def test_sum_of_all_rows(kind: str, percent: tuple[float, float, float]):
    # Heller et al. 2005, J Biomech 38:1155, rows of the table added up; walking as quoted in an open
    # research code, stairs from memory.
    np.testing.assert_allclose(rows(kind).sum(axis=0), percent, atol=1e-9)


@pytest.mark.parametrize(
    "ends", [ends for kind in PEAKS for ends in PEAKS[kind].muscles.values() if len(ends) == 2]
)
def test_a_strap_pulls_equally_at_both_ends(ends: Any):
    # Statics of a strap without friction; the table is rounded to 0.1 % of body weight.
    one, other = (np.linalg.norm(pull.percent) for pull in ends)
    assert one == pytest.approx(other, abs=0.05)


@pytest.mark.parametrize(("kind", "model"), [("walking", Walking), ("stairs", Stairs)])
def test_every_muscle_offered_has_its_forces(kind: str, model: Any):
    choice = get_args(model.model_fields["muscles"].annotation)[0]
    assert set(get_args(choice)) == set(PEAKS[kind].muscles)


@pytest.mark.parametrize("kind", ["walking", "stairs"])
def test_activities_scale_with_the_weight_that_is_borne(kind: str):
    # Percent of body weight, by definition; g = 9.81 m/s².
    found = total(actions(activity(kind, support="distal_end"), FEMUR, LENGTH), KNEE)[:3]
    np.testing.assert_allclose(found, WEIGHT / 100 * rows(kind).sum(axis=0))


def test_only_the_named_muscles_pull():
    few = load("walking", muscles=("vastus_lateralis",), support="distal_end")
    assert [one.name for one in actions(few, FEMUR, LENGTH)] == ["hip_contact", "vastus_lateralis"]


# --- Points ---------------------------------------------------------------------------------------


def test_named_points():
    # The frame: x medial, z up; plain geometry of the model's own parameters.
    found, surface = points(FEMUR), outer_profile(FEMUR)
    expected = {
        "head": HEAD,
        "trochanter": (-22.0, 0.0, 391.0),
        "vastus_lateralis": (-surface.at(329.6), 0.0, 329.6),
        "vastus_medialis": (surface.at(309.0), 0.0, 309.0),
        "proximal_end": TOP,
    }
    assert set(found) == set(expected)
    for name, place in expected.items():
        np.testing.assert_allclose(found[name], place)


@pytest.mark.parametrize("length", [380.0, 490.0])
@pytest.mark.parametrize("below", [18.0, 30.0])
@pytest.mark.parametrize("shaft", [24.0, 32.0])
def test_named_points_are_allowed_on_every_femur(length: float, below: float, shaft: float):
    femur = Femur(
        length_mm=length, head_below_top_mm=below, shaft_diameter_mm=shaft, proximal_diameter_mm=50.0
    )
    for kind in PEAKS:
        check_points(activity(kind), femur)
    at = [{"name": name.replace("_", "-"), "at": name, "force_n": [1, 2, 3]} for name in points(femur)]
    check_points(load("forces", forces=at), femur)


def test_a_point_off_the_bone_is_refused_in_words():
    bad = load("forces", forces=[{"name": "pull", "at": [30.0, 0.0, 206.0], "force_n": [1.0, 0, 0]}])
    with pytest.raises(
        StudyError, match=r"'any'.*'pull'.*\[30, 0, 206\].*allowed up to 16\.5 mm.*move"
    ):
        check_points(bad, FEMUR)


# --- Supports -------------------------------------------------------------------------------------


@hinged
def test_hip_and_knee_leave_no_bending_moment_at_the_knee(one: Load):
    # A ball joint, by definition. The size of the parts sets the round-off.
    acting = actions(one, FEMUR, LENGTH)
    size = max(np.abs(moment(part.point, part.force)).max() for part in acting)
    assert np.abs(total(acting, KNEE)[3:5]).max() < 1e-12 * size
    assert acting[-1].name == "hip_support"


@hinged
def test_the_head_slides_freely_along_the_line_from_hip_to_knee(one: Load):
    reaction = actions(one, FEMUR, LENGTH)[-1]
    np.testing.assert_array_equal(reaction.point, HEAD)
    assert abs(reaction.force @ HEAD) < 1e-12 * np.linalg.norm(HEAD) * np.linalg.norm(reaction.force)


def test_a_force_along_the_line_from_hip_to_knee_needs_no_reaction():
    # Statics: two forces in one line.
    force = [float(part) for part in -3.0 * HEAD]
    along = load("forces", support="hip_knee", forces=[{"name": "a", "at": "head", "force_n": force}])
    assert np.abs(actions(along, FEMUR, LENGTH)[-1].force).max() < 1e-10


def test_a_sideways_push_at_mid_height_is_shared_like_on_a_beam():
    # A beam on two supports, from any handbook: half the height gives half the force at the head.
    straight = FEMUR.model_copy(update={"head_offset_mm": 0.0})
    push = [{"name": "push", "at": [0.0, 0.0, 195.5], "force_n": [0.0, 80.0, 0.0]}]
    acting = actions(load("forces", support="hip_knee", forces=push), straight, LENGTH)
    np.testing.assert_allclose(acting[-1].force, [0.0, -40.0, 0.0], atol=1e-12)


# --- Sections -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees", "newton_metres"), [(0.0, 70.0), (7.0, 27.0), (13.0, -10.0), (16.0, -29.0)]
)
def test_frontal_moment_in_the_shaft(degrees: float, newton_metres: float):
    # Own statics: M = F (offset cos a - 200 mm sin a) with F = 238 % of 75 kg, offset 40 mm.
    femur = Femur(head_offset_mm=40.0)
    stance = Stance(
        kind="stance", name="any", body_weight_kg=75.0, times_body_weight=2.38, adduction_deg=degrees
    )
    found = section_load(actions(stance, femur, femur.length_mm), points(femur)["head"][2] - 200.0)
    angle = radians(degrees)
    by_hand = 2.38 * 75.0 * 9.81 * (40.0 * cos(angle) - 200.0 * sin(angle))
    assert found[4] == pytest.approx(by_hand)
    assert found[4] / 1000 == pytest.approx(newton_metres, abs=1.5)


def test_section_loads_jump_by_the_force_between_them():
    # Statics of the piece between two sections.
    acting = actions(ALL[-2], FEMUR, LENGTH)
    push, at = np.array([2.0, 13.0, -17.0]), np.array([10.0, 4.0, 150.0])
    low, high = section_load(acting, 149.0), section_load(acting, 151.0)
    np.testing.assert_allclose(low[:3] - high[:3], push)
    carried = moment(np.array([0.0, 0.0, 2.0]), high[:3])  # the upper section's force, 2 mm higher
    np.testing.assert_allclose(
        low[3:] - high[3:] - carried, moment(at - [0.0, 0.0, 149.0], push), atol=1e-9
    )


def test_a_section_carries_only_what_lies_above_it():
    acting = (Action("below", np.array([0.0, 0.0, 50.0]), np.ones(3), np.ones(3)),)
    assert not section_load(acting, 50.0).any()
    assert (section_load(acting, 49.0)[[2, 5]] == 1).all()


@each
def test_the_lowest_section_carries_everything(one: Load):
    acting = actions(one, FEMUR, LENGTH)
    expected = total(acting, KNEE)
    np.testing.assert_allclose(section_load(acting, 0.0), expected, atol=1e-9 * np.abs(expected).max())


def at_end(load, length: float) -> np.ndarray:
    return resultant(actions(load, FEMUR, length), np.array([0.0, 0.0, length]))


def test_signs_of_a_pure_moment():
    # Signs by what moves where (DEVELOPERS.md): torsion turns x towards y, frontal z towards x,
    # sagittal z towards y.
    for one, axis in zip(ALL[2:5], ([0, 0, 7e3], [0, -11e3, 0], [-13e3, 0, 0]), strict=True):
        np.testing.assert_allclose(at_end(one, 300.0), [0, 0, 0, *axis])


def test_a_hip_force_is_carried_to_the_end_of_a_specimen():
    # Statics: the same force, and its arm from the specimen's end to the head.
    found = at_end(ALL[0], 300.0)
    lean = np.array([-np.tan(radians(11.0)), -np.tan(radians(-17.0)), -1.0])
    force = 700.0 * lean / np.linalg.norm(lean)
    np.testing.assert_allclose(found[:3], force)
    np.testing.assert_allclose(found[3:], moment(HEAD - [0.0, 0.0, 300.0], force))


# --- Unit loads -----------------------------------------------------------------------------------


def test_carriers_are_the_points_below_the_top_each_once():
    found = carriers(ALL, FEMUR, LENGTH)
    named = points(FEMUR)
    expected = [named["vastus_lateralis"], named["vastus_medialis"], [10.0, 4.0, 150.0]]
    np.testing.assert_allclose(found, expected)
    assert carriers(ALL[:9], FEMUR, LENGTH).shape == (0, 3)
    # What lies above a short specimen goes through its end.
    np.testing.assert_allclose(carriers(ALL, FEMUR, 300.0), [[10.0, 4.0, 150.0]])


@each
@pytest.mark.parametrize("length", [LENGTH, 300.0, 900.0])
def test_shares_of_the_unit_loads_add_up_to_the_load(one: Load, length: float):
    # Statics: the end's wrench and the surface forces together are the load, about any point.
    carried, acting = carriers(ALL, FEMUR, length), actions(one, FEMUR, length)
    shares = coefficients(acting, carried, length)
    assert shares.shape == (6 + 3 * len(carried),)
    about = np.array([7.0, -11.0, 123.0])
    end = Action("end", np.array([0.0, 0.0, length]), shares[:3], shares[3:6])
    surface = [
        Action("surface", point, force, np.zeros(3))
        for point, force in zip(carried, shares[6:].reshape(-1, 3), strict=True)
    ]
    expected = total(acting, about)
    tolerance = 1e-12 * 1e6
    np.testing.assert_allclose(total([end, *surface], about), expected, atol=tolerance)
    np.testing.assert_allclose(resultant(acting, about), expected, atol=tolerance)


def test_forces_at_one_carrier_add_up():
    carried = carriers(ALL[-2:-1], FEMUR, LENGTH)
    shares = coefficients(actions(ALL[-2], FEMUR, LENGTH), carried, LENGTH)
    np.testing.assert_allclose(shares[6:], [-4.0, 5.0, 44.0, 2.0, 13.0, -17.0])
    np.testing.assert_allclose(shares[:3], [11.0, 14.0, -300.0])


def test_a_moment_on_the_surface_is_an_error():
    at = np.array([10.0, 4.0, 150.0])
    with pytest.raises(ValueError, match="moment on the surface"):
        coefficients([Action("twist", at, np.zeros(3), np.ones(3))], at[None], LENGTH)
