"""Volumes and directions of the solids, against the handbook and against counting points."""

from __future__ import annotations

from math import hypot, pi, sqrt

import numpy as np
import pytest
from scipy.stats import qmc

from geometries.faces import Face
from geometries.readout import GapFrame
from geometries.solids import Frustum, Geometry, Part, Piece, Points, Prism, cylinder, radial

BOX = 40.0  # half the edge of the box that points are drawn from, mm
BLOCK = ((-15.0, -12.0), (15.0, -12.0), (15.0, 12.0), (-15.0, 12.0))


@pytest.fixture(scope="module")
def cloud() -> Points:
    """Evenly spread points in a box around the origin."""
    unit = qmc.Sobol(3, seed=np.random.default_rng(7)).random_base2(18)
    return (2 * unit - 1) * BOX


def counted(solid: Frustum | Prism | Piece, cloud: Points) -> float:
    """Volume by the share of points inside, mm³."""
    return float(solid.contains(cloud).mean() * (2 * BOX) ** 3)


@pytest.mark.parametrize(
    ("solid", "volume"),
    [
        (Frustum((0, 0, -10), (0, 0, 30), 12, 12), pi * 12**2 * 30),
        (Frustum((0, 0, -10), (0, 0, 30), 15, 0), pi * 15**2 * 30 / 3),
        (Frustum((1, 2, -9), (3, 4, 12), 6, 14), pi * 13 / 3 * (6**2 + 6 * 14 + 14**2)),
        (Frustum((30, 0, 0), (-60, 0, 0), 5, 5), pi * 5**2 * 60),
        (cylinder((0, 0, 0), (0, 20, 0), 14), pi / 4 * 14**2 * 20),
        (Prism(BLOCK, 0.0, 20), 30 * 24 * 20),
        (Prism(tuple(reversed(BLOCK)), 123.0, 20), 30 * 24 * 20),
        (Prism(((0, 0), (20, 0), (0, 30)), 45.0, 16), 20 * 30 / 2 * 16),
        (Prism(((0, 0), (30, 0), (30, 30), (20, 30), (20, 10), (0, 10)), -70.0, 9), 500 * 9),
    ],
    ids=["bar", "cone", "oblique", "across", "cylinder", "block", "turned", "wedge", "angle"],
)
def test_volumes(solid: Frustum | Prism, volume: float, cloud: Points):
    assert solid.volume == pytest.approx(volume, rel=1e-12)
    assert counted(solid, cloud) == pytest.approx(volume, rel=5e-3)


def test_a_cut_piece_is_the_difference(cloud: Points):
    tube = Piece(cylinder((0, 0, 0), (0, 0, 30), 28), (cylinder((0, 0, 0), (0, 0, 30), 10),))
    assert counted(tube, cloud) == pytest.approx(pi / 4 * (28**2 - 10**2) * 30, rel=5e-3)


def test_ends_and_surface_of_a_frustum():
    cone = Frustum((0, 0, 0), (0, 0, 10), 4, 2)
    inside = [(0, 0, 0), (0, 0, 10), (3.99, 0, 0), (0, 1.99, 10), (0, -2.99, 5)]
    outside = [(0, 0, -0.01), (0, 0, 10.01), (4.01, 0, 0), (0, 2.01, 10), (0, -3.01, 5)]
    assert cone.contains(np.array(inside, dtype=float)).all()
    assert not cone.contains(np.array(outside, dtype=float)).any()
    assert cone.height == 10


@pytest.mark.parametrize(
    ("azimuth", "direction"),
    [
        (0, (-1, 0, 0)),  # lateral
        (90, (0, 1, 0)),  # anterior
        (180, (1, 0, 0)),  # medial
        (-180, (1, 0, 0)),
        (-90, (0, -1, 0)),  # posterior
        (45, (-sqrt(0.5), sqrt(0.5), 0)),  # anterolateral
    ],
)
def test_azimuth(azimuth: float, direction: tuple[float, float, float]):
    assert radial(azimuth) == pytest.approx(direction, abs=1e-12)


@pytest.mark.parametrize("azimuth", [0.0, 30.0, 90.0, 180.0, -75.0])
def test_a_prism_stands_out_on_its_side(azimuth: float):
    prism = Prism(((10.0, 0.0), (14.0, 0.0), (14.0, 50.0), (10.0, 50.0)), azimuth, 16.0)
    x, y, _ = radial(azimuth)
    points = [(12 * x - a * y, 12 * y + a * x, 25.0) for a in (0.0, 7.9, -7.9, 8.1, -8.1)]
    assert prism.contains(np.array(points)).tolist() == [True, True, True, False, False]
    assert not prism.contains(-np.array(points)).any(), "nothing on the other side"
    # The face that is swept and its sweep make the same solid.
    corners, sweep = np.array(prism.corners()), np.array(prism.sweep)
    assert hypot(*sweep) == pytest.approx(16.0)
    assert sweep @ radial(azimuth) == pytest.approx(0, abs=1e-12)
    middle = corners.mean(axis=0)
    assert prism.contains(np.array([middle + t * sweep for t in (0.001, 0.5, 0.999)])).all()
    assert not prism.contains(np.array([middle + t * sweep for t in (-0.001, 1.001)])).any()


def test_read_out_points_of_the_gap():
    points = GapFrame(Face(198.5), Face(201.5), radius=13.5, near_azimuth_deg=0.0).points()
    assert points["near"] == pytest.approx((-13.5, 0, 200))
    assert points["far"] == pytest.approx((13.5, 0, 200))
    assert points["centre"] == (0, 0, 200)


def test_later_parts_paint_over_earlier_ones():
    def part(name: str, diameter: float) -> Part:
        bar = cylinder((0.0, 0.0, 0.0), (0.0, 0.0, 10.0), diameter)
        return Part(name, "cortex", "cortical", (Piece(bar),), 1.0)

    geometry = Geometry(
        (part("bone", 20), part("nail", 8)), (), 10.0, (1.0, 9.0), None, {}, void=(4.0, 5.0, 1.0)
    )
    points = np.array([(0, 0, 5), (6, 0, 5), (30, 0, 5)], dtype=float)
    assert geometry.painted(points).tolist() == [1, 0, -1]
    assert geometry.clearance_at(4.0) == geometry.clearance_at(5.0) == 1.0
    assert geometry.clearance_at(6.0) == float("inf")
