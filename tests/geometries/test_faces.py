"""Faces of bone ends: planes, waves on them, and the spline that a mesher draws through them."""

from __future__ import annotations

from math import cos, radians

import numpy as np
import pytest
from scipy.interpolate import BSpline, NdBSpline

from geometries.faces import Face, Wave, rough
from geometries.frame import Points

TILTED = Face(211.3, (0.37, -0.21), reach=17.0)
WAVY = Face(208.9, (-0.13, 0.29), (Wave((0.7, -0.2), 1.1, 0.43), Wave((0.1, 0.6), 4.0, -0.28)), 17.0)


def disc(radius: float, count: int = 20_000) -> tuple[Points, Points]:
    """Points spread evenly over a disc round the shaft axis: the sunflower pattern."""
    k = np.arange(count) + 0.5
    r, turn = radius * np.sqrt(k / count), k * np.pi * (1 + 5**0.5)
    return r * np.cos(turn), r * np.sin(turn)


def test_height_is_that_of_the_plane_and_its_waves():
    # Plain algebra, at one place by hand.
    assert TILTED.at(3.1, -4.7) == pytest.approx(211.3 + 0.37 * 3.1 + 0.21 * 4.7)
    waves = 0.43 * np.sin(0.7 * 3.1 + 0.2 * 4.7 + 1.1) - 0.28 * np.sin(0.1 * 3.1 - 0.6 * 4.7 + 4.0)
    assert WAVY.at(3.1, -4.7) == pytest.approx(208.9 - 0.13 * 3.1 - 0.29 * 4.7 + waves)
    assert WAVY.plane.at(3.1, -4.7) == pytest.approx(208.9 - 0.13 * 3.1 - 0.29 * 4.7)


def test_only_a_plane_across_the_shaft_is_level():
    # Definition.
    assert Face(3.0).is_level
    assert not TILTED.is_level
    assert not Face(3.0, waves=WAVY.waves).is_level


def test_normal_stands_on_two_lines_of_the_plane():
    # Plain geometry: upright on the lines in the face above the x and the y axis, and one long.
    normal = np.array(TILTED.normal)
    assert normal @ [1.0, 0.0, 0.37] == pytest.approx(0, abs=1e-15)
    assert normal @ [0.0, 1.0, -0.21] == pytest.approx(0, abs=1e-15)
    assert np.linalg.norm(normal) == pytest.approx(1)
    assert normal[2] > 0
    assert WAVY.normal == WAVY.plane.normal


@pytest.mark.parametrize("face", [TILTED, WAVY], ids=["tilted", "wavy"])
def test_extent_bounds_every_height_within_its_radius(face: Face):
    # Definition, by points; for a plane the bounds are met.
    low, high = face.extent(12.6)
    z = face.at(*disc(12.6))
    assert low <= z.min()
    assert z.max() <= high
    if not face.waves:
        assert (z.min(), z.max()) == pytest.approx((low, high), abs=0.05)


@pytest.mark.parametrize("share", [0.0, 1 / 3, 0.62, 1.0])
@pytest.mark.parametrize("other", [TILTED, Face(215.1, (0.1, 0.4), WAVY.waves, 17.0)])
def test_faces_between_two_faces_divide_their_distance(share: float, other: Face):
    # Definition: at every place that share of the way up, whether the waves are alike or not.
    x, y = disc(12.6, 500)
    between = WAVY.towards(other, share)
    expected = (1 - share) * WAVY.at(x, y) + share * other.at(x, y)
    assert between.at(x, y) == pytest.approx(expected, abs=1e-12)


def test_faces_that_fit_each_other_keep_their_waves_between():
    # Definition: parallel layers of a gap between matching ends; not the sum of two halves.
    other = Face(215.1, (0.1, 0.4), WAVY.waves, 17.0)
    assert WAVY.towards(other, 0.4).waves == WAVY.waves


def spline_heights(face: Face, x: Points, y: Points) -> Points:
    """Heights of the clamped cubic B-spline surface through a face's control points, over points.

    Knots one apart, the outermost four times (any text on splines): what a geometry kernel draws when
    it is given the points alone.
    """
    controls, count = face.controls()
    grid = controls.reshape(count, count, 3)
    knots = np.concatenate([np.zeros(3), np.arange(count - 2), np.full(3, count - 3.0)])
    steps = np.linspace(0, count - 3, 40_001)
    across = [np.interp(one, BSpline(knots, grid[0, :, 0], 3)(steps), steps) for one in (x, y)]
    assert grid[:, 0, 1] == pytest.approx(grid[0, :, 0])
    return np.asarray(NdBSpline((knots, knots), grid[:, :, 2], 3)(np.stack(across[::-1], axis=-1)))


@pytest.mark.parametrize("wavelength", [4.0, 8.3, 12.0])
@pytest.mark.parametrize("seed", [3, 41])
def test_spline_through_the_control_points_follows_a_rough_face(wavelength: float, seed: int):
    # A cubic B-spline, evaluated by another library: height within 3 % of the amplitude everywhere on
    # the face, its edge too, and far less in the mean, which is what volumes see.
    face = rough(TILTED, 0.61, wavelength, seed)
    x, y = disc(TILTED.reach)
    off = spline_heights(face, x, y) - face.at(x, y)
    assert np.abs(off).max() < 0.03 * 0.61
    assert abs(off.mean()) < 0.001 * 0.61


def test_four_points_make_a_plane():
    # Definition: a bilinear patch through the corners of the square.
    controls, count = TILTED.controls()
    assert count == 2
    x, y, z = controls.T
    assert {*map(tuple, controls[:, :2])} == {(a, b) for a in (-17.0, 17.0) for b in (-17.0, 17.0)}
    assert z == pytest.approx(TILTED.at(x, y))


@pytest.mark.parametrize("seed", [0, 7, 1_000_000])
def test_roughness_reaches_its_amplitude_and_no_more(seed: int):
    # Definition: largest departure from the plane within the reach.
    face = rough(TILTED, 0.47, 6.3, seed)
    x, y = disc(TILTED.reach, 200_000)
    assert np.abs(face.at(x, y) - TILTED.at(x, y)).max() == pytest.approx(0.47, rel=0.01)
    assert face.plane == TILTED


def test_roughness_has_one_wavelength_in_several_directions():
    # Definition: wave number 2 pi over the wavelength.
    across = np.array([wave.across for wave in rough(TILTED, 0.47, 6.3, 5).waves])
    assert np.hypot(*across.T) == pytest.approx(2 * np.pi / 6.3)
    turn = np.degrees(np.arctan2(across[:, 1], across[:, 0]))
    assert np.ptp(turn) > 60


def test_a_seed_repeats_and_another_one_differs():
    # Definition.
    one, same, other = (rough(TILTED, 0.47, 6.3, seed) for seed in (12, 12, 13))
    assert one == same
    x, y = disc(12.0, 5000)
    assert np.abs(one.at(x, y) - other.at(x, y)).max() > 0.47 / 2


def test_normal_leans_by_the_tilt():
    # Plain trigonometry: the rise per mm is the tangent of the tilt.
    slope = np.tan(radians(34.0)) * np.array([cos(radians(20.0)), cos(radians(70.0))])
    assert Face(0.0, tuple(slope.tolist())).normal[2] == pytest.approx(cos(radians(34.0)))
