"""Endless solids that cut others, by points on either side of their faces."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from geometries.faces import Face, Wave
from geometries.frame import Points, radial
from geometries.tools import HalfSpace, Loft, Sector


@pytest.fixture(scope="module")
def cloud() -> Points:
    """Evenly spread points in a box around the origin."""
    return (2 * qmc.Sobol(3, seed=np.random.default_rng(11)).random_base2(16) - 1) * 23.0


def test_half_spaces_are_the_two_sides_of_their_face(cloud: Points):
    # Definition: z against the height of the face, each point on one side only.
    face = Face(1.7, (0.4, -0.3), (Wave((0.5, 0.2), 0.7, 0.9),))
    above, below = (HalfSpace(face, side).contains(cloud) for side in (True, False))
    x, y, z = cloud.T
    assert (above == (z > 1.7 + 0.4 * x - 0.3 * y + 0.9 * np.sin(0.5 * x + 0.2 * y + 0.7))).all()
    assert (above != below).all()


@pytest.mark.parametrize("azimuth_deg", [0.0, 133.0, -71.0, 180.0])
@pytest.mark.parametrize("angle_deg", [37.0, 90.0, 180.0, 251.0, 324.0])
def test_a_sector_is_its_share_of_the_turn_about_its_middle(
    azimuth_deg: float, angle_deg: float, cloud: Points
):
    # Definition: azimuths within half the angle of the middle, between the heights.
    inside = Sector(azimuth_deg, angle_deg, -4.3, 11.9).contains(cloud)
    x, y, z = cloud.T
    azimuth = np.degrees(np.arctan2(y, -x))  # from lateral, -x, over anterior, y
    off = np.abs((azimuth - azimuth_deg + 180) % 360 - 180)
    assert (inside == ((off <= angle_deg / 2) & (z >= -4.3) & (z <= 11.9))).all()
    ring = np.hypot(x, y) < 20
    between = ring & (z >= -4.3) & (z <= 11.9)
    assert (inside & ring).sum() / between.sum() == pytest.approx(angle_deg / 360, abs=0.01)


@pytest.mark.parametrize("angle_deg", [17.0, 90.0, 180.0, 251.0, 324.0, 356.0])
def test_outline_of_a_sector_holds_it_as_far_as_bone_reaches(angle_deg: float):
    # Plain geometry: a chord of at most a quarter turn stays cos 45° of the radius away from the axis,
    # so within that the polygon and the sector are the same. Even-odd rule on the polygon.
    sector = Sector(58.0, angle_deg, -1.0, 1.0)
    outline = sector.outline(100.0)
    assert outline[0] == pytest.approx((0, 0))
    assert np.hypot(*outline[1:].T) == pytest.approx(100)
    u = qmc.Sobol(2, seed=np.random.default_rng(4)).random_base2(13)
    r, turn = 70 * np.sqrt(u[:, 0]), 2 * np.pi * u[:, 1]
    points = np.stack([r * np.cos(turn), r * np.sin(turn), 0 * r], axis=1)
    inside = np.zeros(len(points), dtype=bool)
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        crosses = (y0 > points[:, 1]) != (y1 > points[:, 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            inside ^= crosses & (points[:, 0] < x0 + (points[:, 1] - y0) / (y1 - y0) * (x1 - x0))
    assert (inside == sector.contains(points)).mean() > 0.9995  # but for rounding on its sides


def test_middle_of_a_wide_sector_lies_on_its_side():
    # Definition; an angle over 180 must not turn round to the other side.
    sector = Sector(25.0, 300.0, 0.0, 2.0)
    near, far = (np.array([radial(azimuth)]) * 9 + [0, 0, 1] for azimuth in (25.0, 205.0))
    assert sector.contains(near).all()
    assert not sector.contains(far).any()


def test_a_loft_has_the_volume_of_its_frusta(cloud: Points):
    # Handbook: a frustum, also a sheared one, holds pi h / 3 (a² + a b + b²).
    circles = ((1.0, -2.0, -14.0, 5.0), (4.0, 3.0, 3.0, 9.0), (-2.0, 5.0, 12.0, 6.5))
    counted = Loft(circles).contains(cloud).mean() * 46.0**3
    volume = np.pi / 3 * (17 * (25 + 45 + 81) + 9 * (81 + 58.5 + 42.25))
    assert counted == pytest.approx(volume, rel=0.01)


def test_ends_and_walls_of_a_loft():
    # Plain geometry: half-way up it is half-way between the circles.
    loft = Loft(((1.0, 2.0, 0.0, 4.0), (3.0, -2.0, 10.0, 6.0)))
    inside = [(2, 0, 5), (6.99, 0, 5), (-2.99, 0, 5), (2, 4.99, 5), (1, 5.99, 0), (3, -7.99, 10)]
    outside = [(7.01, 0, 5), (-3.01, 0, 5), (2, -5.01, 5), (1, 2, -0.01), (3, -2, 10.01)]
    assert loft.contains(np.array(inside, dtype=float)).all()
    assert not loft.contains(np.array(outside, dtype=float)).any()
