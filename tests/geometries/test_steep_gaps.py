"""Steep gaps on a flare, where the bone is thicker than at the gap's middle."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.bone import Defect, Femur
from geometries.defect import bone_ends, gap_levels, narrowest
from geometries.frame import Points
from geometries.profiles import outer_profile

FLARED = Femur(length_mm=392.0, shaft_diameter_mm=24.3, canal_diameter_mm=9.0, distal_diameter_mm=44.6)


def disc(radius: float, count: int) -> tuple[Points, Points]:
    """Points spread evenly over a disc round the shaft axis: the sunflower pattern."""
    k = np.arange(count) + 0.5
    r, turn = radius * np.sqrt(k / count), k * np.pi * (1 + 5**0.5)
    return r * np.cos(turn), r * np.sin(turn)


@pytest.mark.parametrize("site_percent", [71.0, 20.0])
def test_steep_gap_on_a_flare_is_known_as_far_as_bone_reaches(site_percent: float):
    # Plain geometry, by points: every spot of a face that lies in bone is within its reach, and the
    # gap's levels hold it. On the flare bone is thicker than at the gap's middle.
    defect = Defect(site_percent=site_percent, gap_mm=11.0, oblique_deg=57.0, wedge_mm=3.1)
    outer = outer_profile(FLARED)
    x, y = disc(45.0, 60_000)
    low, high = gap_levels(FLARED, defect)
    for face in bone_ends(FLARED, defect):
        z = face.at(x, y)
        in_bone = np.hypot(x, y) < np.interp(z, outer.heights, outer.radii)
        assert np.hypot(x, y)[in_bone].max() > outer.at(face.height) + 1
        assert np.hypot(x, y)[in_bone].max() < face.reach
        assert low <= z[in_bone].min()
        assert z[in_bone].max() <= high


def test_bone_ends_that_cross_on_the_flare_are_seen():
    # Plain geometry: a wedge closes beyond the surface at the gap's middle, where the flare goes on.
    defect = Defect(
        site_percent=71.0, gap_mm=0.6, oblique_deg=57.0, wedge_mm=8.7, wedge_azimuth_deg=0.0,
        oblique_azimuth_deg=0.0,
    )  # fmt: skip
    lower, upper = bone_ends(FLARED, defect)
    x, y = disc(45.0, 60_000)
    outer = outer_profile(FLARED)
    z = (lower.at(x, y) + upper.at(x, y)) / 2
    in_bone = np.hypot(x, y) < np.interp(z, outer.heights, outer.radii)
    least = float((upper.at(x, y) - lower.at(x, y))[in_bone].min())
    assert least < 0.3
    assert narrowest(FLARED, defect) == pytest.approx(least, abs=0.05)
