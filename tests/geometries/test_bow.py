"""The bend of a straight body to an arc: where points and directions go, and how they come back."""

from __future__ import annotations

from math import asin, cos, sin, sqrt

import numpy as np
import pytest

from geometries.bow import Bow, sagitta

BOW = Bow(radius=900.0, length=430.0)
POINTS = np.array([[3.0, 11.0, 60.0], [-7.0, -9.0, 215.0], [0.0, 14.0, 400.0], [5.0, 0.0, 0.0]])


def test_ends_of_the_axis_stay_on_z_and_its_middle_goes_forwards():
    # Circle: chord 2 R sin(L / 2R); the middle stands out by R - R cos(L / 2R).
    half = 430 / 2 / 900
    np.testing.assert_allclose(BOW.place((0.0, 0.0, 0.0)), 0, atol=1e-9)
    np.testing.assert_allclose(BOW.place((0.0, 0.0, 430.0)), [0, 0, 1800 * sin(half)], atol=1e-9)
    middle = [0, 900 * (1 - cos(half)), 900 * sin(half)]
    np.testing.assert_allclose(BOW.place((0.0, 0.0, 215.0)), middle, atol=1e-9)


def test_straightening_undoes_bending():
    np.testing.assert_allclose(BOW.straighten(BOW.place(POINTS)), POINTS, atol=1e-9)


def test_a_point_keeps_its_distance_from_the_axis_and_lengths_grow_in_front():
    # Definition: (1 + y / R) along the shaft, 1 across it, all at right angles; by differences.
    step = 1e-4
    for point in POINTS:
        x, y, z = ((BOW.place(point + step * e) - BOW.place(point - step * e)) / 2 / step
                   for e in np.eye(3))  # fmt: skip
        np.testing.assert_allclose([x @ x, y @ y, sqrt(z @ z)], [1, 1, 1 + point[1] / 900], rtol=1e-6)
        np.testing.assert_allclose([x @ y, y @ z, z @ x], 0, atol=1e-6)
        assert np.cross(x, y) @ z > 0
        for direction, bent in zip(np.eye(3), (x, y, z / np.linalg.norm(z)), strict=True):
            turned = BOW.turn(tuple(direction.tolist()), float(point[2]))
            np.testing.assert_allclose(turned, bent, atol=1e-6)


def test_height_of_an_arc_over_its_chord():
    # Circle: R - sqrt(R² - (s / 2)²).
    assert sagitta(360.0, None) == 0
    assert sagitta(360.0, 900.0) == pytest.approx(900 - sqrt(900**2 - 180**2))
    assert sagitta(360.0, 900.0) == pytest.approx(900 * (1 - cos(asin(0.2))))
