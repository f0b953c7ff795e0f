"""Forces over what lies in a window of a surface."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fem.contact.windows import Skin

UP = np.array([0.0, 0.0, 1.0])


@pytest.mark.parametrize(("count", "carries"), [(1, False), (2, False), (3, True)])
def test_a_window_of_fewer_than_three_points_carries_nothing(count: int, carries: bool):
    """By hand: forces at one point have no moment about it, at two none about their line."""
    places = np.array([[0.0, 0.0, 5.0], [3.0, 0.0, 5.0], [0.0, 2.0, 5.0]])
    faces = np.arange(6)[None]
    normals, weights = np.tile(UP, (3, 1)), np.array([4.0, 5.0, 6.0])
    skin = Skin(faces, places, normals, places, weights, np.zeros(3, dtype=int), np.arange(3))
    found = skin.spread(np.arange(count), np.array([1.0, 0.5, 5.0]), UP)
    assert (found is not None) == carries
