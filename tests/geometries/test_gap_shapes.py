"""Gaps that are not two flat cuts: oblique, wedged, rough, bridged; and where they are read."""

from __future__ import annotations

from math import cos, radians
from typing import Any

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct, PlateConstruct
from geometries.defect import bone_ends, narrowest
from geometries.frame import Points, radial
from geometries.parameters import Nail
from geometries.profiles import canal_profile, outer_profile
from geometries.readout import GapFrame
from geometries.solids import Geometry
from pipeline.measures.gap import gap_movement, rim_movement
from pipeline.measures.motion import Motion

FEMUR = Femur()
SURFACE = 13.5  # radius of the default shaft, mm


def ring(inner: float, outer: float, count: int = 4000) -> tuple[Points, Points]:
    """Points spread evenly over a ring round the shaft axis: the sunflower pattern."""
    k = np.arange(count) + 0.5
    r = np.sqrt(inner**2 + (outer**2 - inner**2) * k / count)
    return r * np.cos(k * np.pi * (1 + 5**0.5)), r * np.sin(k * np.pi * (1 + 5**0.5))


def on(azimuth_deg: float, radius: float) -> tuple[float, float]:
    x, y, _ = radial(azimuth_deg)
    return radius * x, radius * y


def plated(defect: Defect, femur: Femur = FEMUR) -> Geometry:
    return assemble(PlateConstruct(name="p", kind="plate"), femur, defect)


def owners(geometry: Geometry, points: Points) -> list[str]:
    names = [*(part.name for part in geometry.parts), "nothing"]
    return [names[k] for k in geometry.painted(points)]


# --- The two faces -----------------------------------------------------------------------------------


@pytest.mark.parametrize("azimuth_deg", [0.0, 63.0, 180.0, -142.0])
def test_oblique_ends_are_one_gap_apart_everywhere_and_highest_on_their_side(azimuth_deg: float):
    # Definition; the rise over the bone's width is width times tangent of the tilt.
    defect = Defect(gap_mm=4.3, oblique_deg=38.0, oblique_azimuth_deg=azimuth_deg)
    lower, upper = bone_ends(FEMUR, defect)
    x, y = ring(0.0, SURFACE)
    assert upper.at(x, y) - lower.at(x, y) == pytest.approx(4.3)
    assert lower.normal[2] == upper.normal[2] == pytest.approx(cos(radians(38.0)))
    high, low = (float(upper.at(*on(azimuth_deg + turn, SURFACE))) for turn in (0.0, 180.0))
    assert high - low == pytest.approx(27.0 * np.tan(radians(38.0)))
    highest = np.argmax(upper.at(x, y))
    assert (x[highest], y[highest]) == pytest.approx(on(azimuth_deg, SURFACE), abs=0.8)
    assert (upper.height + lower.height) / 2 == pytest.approx(215.0)


@pytest.mark.parametrize("azimuth_deg", [180.0, 17.0, -95.0])
@pytest.mark.parametrize("oblique_deg", [0.0, 24.0])
def test_wedge_is_as_wide_as_said_on_both_of_its_sides(azimuth_deg: float, oblique_deg: float):
    # Definition: gap_mm at the surface on the closed side, wedge_mm more on the open one.
    defect = Defect(
        gap_mm=2.7, wedge_mm=3.9, wedge_azimuth_deg=azimuth_deg, oblique_deg=oblique_deg,
        oblique_azimuth_deg=40.0,
    )  # fmt: skip
    lower, upper = bone_ends(FEMUR, defect)
    open_, closed = (
        float(upper.at(*on(azimuth_deg + turn, SURFACE)) - lower.at(*on(azimuth_deg + turn, SURFACE)))
        for turn in (0.0, 180.0)
    )
    assert closed == pytest.approx(2.7)
    assert open_ == pytest.approx(2.7 + 3.9)
    assert narrowest(FEMUR, defect) == pytest.approx(2.7, abs=0.01)


def test_narrowest_place_is_that_of_many_points():
    # Definition, by points over the cross-section of the shaft; unlike rough ends come closer than
    # gap_mm, matching ones nowhere.
    rough: dict[str, Any] = {"gap_mm": 2.9, "rough_mm": 0.7, "rough_seed": 21}
    unlike = Defect(**rough, rough_faces="unlike")
    lower, upper = bone_ends(FEMUR, unlike)
    x, y = ring(0.0, SURFACE, 200_000)
    least = float((upper.at(x, y) - lower.at(x, y)).min())
    assert least < 2.5
    assert narrowest(FEMUR, unlike) == pytest.approx(least, abs=0.02)
    assert narrowest(FEMUR, Defect(**rough)) == pytest.approx(2.9)


def test_matching_ends_fit_and_unlike_ones_do_not():
    # Definition.
    x, y = ring(0.0, SURFACE)
    for faces, is_even in (("matching", True), ("unlike", False)):
        lower, upper = bone_ends(FEMUR, Defect(gap_mm=3.1, rough_mm=0.5, rough_faces=faces))
        assert bool(np.ptp(upper.at(x, y) - lower.at(x, y)) < 1e-9) is is_even
        assert np.ptp(lower.at(x, y)) > 0.5


# --- Parts -------------------------------------------------------------------------------------------

SHAPES: dict[str, dict[str, Any]] = {
    "oblique": {"oblique_deg": 41.0, "oblique_azimuth_deg": 29.0},
    "wedge": {"wedge_mm": 4.4, "wedge_azimuth_deg": -77.0},
    "rough": {"rough_mm": 0.7, "rough_faces": "unlike"},
    "all": {"oblique_deg": 23.0, "wedge_mm": 2.1, "rough_mm": 0.4, "bridge_percent": 31.0},
}


@pytest.mark.parametrize("site_percent", [50.0, 70.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_bone_and_gap_fill_the_ring_of_bone_without_a_hole(shape: str, site_percent: float):
    # Definition, by points: between canal and surface every place has the owner that the heights of
    # the two faces give it.
    defect = Defect(gap_mm=3.3, site_percent=site_percent, **SHAPES[shape])
    geometry = plated(defect)
    lower, upper = bone_ends(FEMUR, defect)
    centre = 430.0 * (1 - site_percent / 100)
    rng = np.random.default_rng(2)
    z = centre + rng.uniform(-30, 30, 40_000)
    outer, canal = (
        np.interp(z, p.heights, p.radii) for p in (outer_profile(FEMUR), canal_profile(FEMUR))
    )
    r, turn = canal + (outer - canal) * rng.uniform(0.001, 0.999, len(z)), rng.uniform(0, 7, len(z))
    points = np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)
    below, above = (z - face.at(*points[:, :2].T) for face in (lower, upper))
    expected = np.where(above > 0, "cortex_proximal", np.where(below < 0, "cortex_distal", "gap"))
    found = np.array(owners(geometry, points))
    found = np.where(np.char.startswith(found, "screw"), expected, found)  # screws in their holes
    found = np.where(found == "bridge", "gap", found)
    assert (found == expected).all(), sorted(set(zip(found, expected, strict=True)))
    assert (expected == "gap").sum() > 1000


@pytest.mark.parametrize("percent", [12.5, 50.0, 71.0])
def test_bridge_covers_its_share_of_the_cortex_about_its_side(percent: float):
    # Definition, by points on the middle face between canal and surface.
    defect = Defect(gap_mm=5.0, bridge_percent=percent, bridge_azimuth_deg=133.0, oblique_deg=15.0)
    geometry = plated(defect)
    lower, upper = bone_ends(FEMUR, defect)
    x, y = ring(5.9, 13.4, 8000)
    for share in (0.02, 0.5, 0.98):
        points = np.stack([x, y, lower.towards(upper, share).at(x, y)], axis=1)
        bridged = np.array(owners(geometry, points)) == "bridge"
        assert bridged.mean() == pytest.approx(percent / 100, abs=0.005)
        off = np.degrees(np.arctan2(y, -x)) - 133.0
        assert (np.abs((off + 180) % 360 - 180)[bridged] <= 1.8 * percent + 1e-9).all()
    (bridge,) = (part for part in geometry.parts if part.name == "bridge")
    assert (bridge.role, bridge.material) == ("cortex", FEMUR.cortical)


def test_filling_of_the_canal_stops_at_an_eccentric_nail():
    # Plain geometry: within the nail's radius of its own axis is nail or its hollow, beyond it tissue
    # up to the hole in the cortex.
    defect = Defect(gap_mm=6.1, fill="canal", oblique_deg=12.0)
    nail = Nail(
        diameter_mm=9.0,
        cannulation_mm=4.4,
        distal_offset_mm=(1.3, -0.8),
        proximal_offset_mm=(-0.4, 0.9),
    )
    geometry = assemble(NailConstruct(name="n", kind="nail", nail=nail), FEMUR, defect)
    share = (215.0 - 35.0) / 360.0
    axis = np.array([1.3 - 1.7 * share, -0.8 + 1.7 * share])
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    for distance, expected in ((2.15, "nothing"), (2.25, "nail"), (4.48, "nail"), (4.52, "inner")):
        x, y = axis[0] + distance * np.cos(turn), axis[1] + distance * np.sin(turn)
        found = owners(geometry, np.stack([x, y, 215 + 0 * x], axis=1))
        assert set(found) == {expected}, distance


# --- Read-out ----------------------------------------------------------------------------------------


def frame_of(defect: Defect, near: float = 0.0) -> GapFrame:
    return GapFrame(*bone_ends(FEMUR, defect), SURFACE, near)


def test_oblique_gap_is_read_along_its_normal():
    # Trigonometry: two parallel planes, 4.3 mm apart along the shaft, are 4.3 cos 38° apart.
    frame = frame_of(Defect(gap_mm=4.3, oblique_deg=38.0, oblique_azimuth_deg=63.0), 25.0)
    assert frame.lengths() == pytest.approx(
        dict.fromkeys(("near", "far", "centre"), 4.3 * cos(radians(38.0)))
    )
    (x, y, _), tilt = radial(63.0), radians(38.0)
    assert frame.normal == pytest.approx((-np.sin(tilt) * x, -np.sin(tilt) * y, np.cos(tilt)))
    assert (frame.height, frame.length) == pytest.approx((215.0, 4.3))
    points = frame.points()
    for name, turn in (("near", 25.0), ("far", 205.0)):
        assert points[name][:2] == pytest.approx(on(turn, SURFACE))
        rise = SURFACE * cos(radians(turn - 63.0)) * np.tan(tilt)
        assert points[name][2] == pytest.approx(215.0 + rise)
    assert points["centre"] == pytest.approx((0, 0, 215.0))


def test_wedge_is_read_with_its_local_width():
    # Trigonometry: open on the near side; the middle plane lies across the shaft.
    frame = frame_of(Defect(gap_mm=2.7, wedge_mm=3.9, wedge_azimuth_deg=70.0), 70.0)
    assert frame.normal == pytest.approx((0, 0, 1))
    assert frame.lengths() == pytest.approx({"near": 6.6, "far": 2.7, "centre": 2.7 + 3.9 / 2})


def motion(translation: tuple[float, float, float], rotation: tuple[float, float, float]) -> Motion:
    about = np.array([2.0, -1.0, 214.0])
    columns = (np.array(one)[:, None] for one in (translation, rotation))
    return Motion(about, *columns, np.zeros((1, 1)))


def test_movement_splits_along_and_across_the_fracture():
    # By hand: a plane that rises laterally at 30° has the normal (1/2, 0, cos 30°). A push of 0.9 mm
    # down the shaft is 0.9 cos 30° of closing and 0.9 sin 30° of sliding.
    frame = frame_of(Defect(gap_mm=3.5, oblique_deg=30.0))
    still, pushed = motion((0, 0, 0), (0, 0, 0)), motion((0.0, 0.0, -0.9), (0, 0, 0))
    found = {
        (m.quantity, m.location): m.value for m in gap_movement(frame, still, pushed, np.array([2.0]))
    }
    for place in ("near", "far", "centre"):
        assert found["gap_axial_movement", place] == pytest.approx(-1.8)
        assert found["gap_shear_movement", place] == pytest.approx(0)
        assert found["gap_normal_movement", place] == pytest.approx(-1.8 * cos(radians(30.0)))
        assert found["gap_sliding_movement", place] == pytest.approx(0.9)
        strain = found["interfragmentary_strain", place]
        assert strain == pytest.approx(-100 * 1.8 / 3.5)  # both along the normal: its cosine cancels


def test_turning_opens_one_side_and_slides_the_other_way():
    # By hand, small rotations: w x r with w about the anterior axis, r from the motion's centre. The
    # middle plane rises medially by tan 20°.
    defect = Defect(gap_mm=5.2, oblique_deg=20.0, oblique_azimuth_deg=180.0)
    frame, turn = frame_of(defect), 0.011
    distal, proximal = motion((0.02, 0.03, 0.0), (0, 0, 0)), motion((0.1, 0.0, 0.2), (0, turn, 0))
    found = {
        (m.quantity, m.location): m.value for m in gap_movement(frame, distal, proximal, np.ones(1))
    }
    tilt = radians(20.0)
    for place, x in (("near", -SURFACE), ("far", SURFACE), ("centre", 0.0)):
        z = 215.0 + x * np.tan(tilt)
        moved = np.array([0.08 + turn * (z - 214.0), -0.03, 0.2 - turn * (x - 2.0)])
        along = -np.sin(tilt) * moved[0] + np.cos(tilt) * moved[2]
        in_plane = np.cos(tilt) * moved[0] + np.sin(tilt) * moved[2]
        assert found["gap_axial_movement", place] == pytest.approx(moved[2])
        assert found["gap_normal_movement", place] == pytest.approx(along)
        assert found["gap_sliding_movement", place] == pytest.approx(np.hypot(in_plane, 0.03))
        assert found["interfragmentary_strain", place] == pytest.approx(
            100 * along / (5.2 * np.cos(tilt))
        )
    assert found["gap_rotation", "anterior_axis"] == pytest.approx(np.degrees(turn))


def rim_of(frame: GapFrame, *moved: Motion) -> dict[tuple[str, str], float]:
    return {(m.quantity, m.location): m.value for m in rim_movement(frame, *moved, np.ones(1))}


def test_the_rim_is_read_where_near_and_far_see_nothing():
    # By hand: bone ends that tilt by 3 degrees about the medial axis close behind and open in front by
    # the radius times the angle, 0.7 mm, while the lateral and the medial side stay.
    frame, tilt = frame_of(Defect(gap_mm=1.0)), radians(3.0)
    x, y, z = 2.0, -1.0, 214.0  # what the motion is told about
    still, tilted = motion((0, 0, 0), (0, 0, 0)), motion((0, 0, y * tilt), (tilt, 0, 0))
    found = rim_of(frame, still, tilted)
    assert (x, z) == (2.0, 214.0)
    assert found["rim_movement", "closing"] == pytest.approx(SURFACE * tilt, rel=1e-6)
    assert found["rim_movement", "opening"] == pytest.approx(SURFACE * tilt, rel=1e-6)
    assert found["rim_strain", "closing"] == pytest.approx(100 * SURFACE * tilt, rel=1e-6)
    assert {found["rim_side", "closing"], found["rim_side", "opening"]} == {-90.0, 90.0}
    flat = {m.location: m.value for m in gap_movement(frame, still, tilted, np.ones(1))
            if m.quantity == "interfragmentary_strain"}  # fmt: skip
    assert max(map(abs, flat.values())) < 1e-9


def test_a_twist_slides_alike_all_round_and_has_no_side():
    # By hand: the radius times the angle, about the shaft.
    frame, turn = frame_of(Defect(gap_mm=2.0)), 0.01
    found = rim_of(frame, motion((0, 0, 0), (0, 0, 0)), motion((turn, 2 * turn, 0), (0, 0, turn)))
    assert found["rim_movement", "sliding"] == pytest.approx(SURFACE * turn)
    assert found["rim_strain", "sliding"] == pytest.approx(100 * SURFACE * turn / 2.0)
    assert found["rim_movement", "closing"] == found["rim_movement", "opening"] == 0
    assert ("rim_side", "sliding") not in found


def test_strain_of_a_wedge_is_largest_where_it_is_narrow():
    # By hand: 0.3 mm of closing over 1 mm on the narrow side, 4 mm on the open one.
    frame = frame_of(Defect(gap_mm=1.0, wedge_mm=3.0, wedge_azimuth_deg=180.0))
    found = rim_of(frame, motion((0, 0, 0), (0, 0, 0)), motion((0, 0, -0.3), (0, 0, 0)))
    assert found["rim_movement", "closing"] == pytest.approx(0.3)
    assert found["rim_strain", "closing"] == pytest.approx(30.0, rel=1e-6)
