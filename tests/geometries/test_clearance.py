"""Distances of bars, against looking for the closest of many points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from geometries.clearance import axis_distance
from geometries.solids import Frustum, Points


def bar(start: Points, end: Points) -> Frustum:
    return Frustum(tuple(start.tolist()), tuple((end - start).tolist()), 2.0, 3.0)


def closest(ends: Points) -> float:
    """Distance of two segments as bounded least squares, by a solver that knows no geometry."""
    (a, b), (c, d) = ends
    found = lsq_linear(np.stack([b - a, c - d], axis=1), c - a, (0, 1), tol=1e-14)
    return float(np.sqrt(2 * found.cost))


def test_distance_of_bars_is_that_of_their_closest_points():
    # Bounded least squares over both shares, and a grid of points that can only be further apart.
    rng = np.random.default_rng(6)
    steps = np.linspace(0, 1, 41)
    where = set()
    for size in (1.0, 30.0, 0.04):
        for _ in range(150):
            ends = rng.uniform(-20, 20, (2, 1, 3)) + size * rng.uniform(-1, 1, (2, 2, 3))
            found = axis_distance(*(bar(*pair) for pair in ends))
            assert found == pytest.approx(closest(ends), abs=1e-6)
            one, other = (p[0] + steps[:, None] * (p[1] - p[0]) for p in ends)
            apart = np.linalg.norm(one[:, None] - other[None], axis=2)
            step = sum(np.linalg.norm(p[1] - p[0]) for p in ends) / 80
            assert apart.min() - step <= found <= apart.min() + 1e-9
            s, t = np.unravel_index(apart.argmin(), apart.shape)
            where.add((s in (0, 40), t in (0, 40)))
    assert len(where) == 4  # both inside, either at an end, both at ends


@pytest.mark.parametrize(
    ("shift", "beyond"), [(0.0, 0.0), (11.0, 0.0), (-26.0, 6.0), (25.0, 5.0)]
)  # fmt: skip
@pytest.mark.parametrize("turn", [1, -1])
def test_distance_of_parallel_bars(shift: float, beyond: float, turn: int):
    # Plain geometry: side by side, or past each other's ends; either way round.
    along, aside = np.array([2.0, 1.0, -2.0]) / 3, np.array([1.0, 0.0, 1.0]) / np.sqrt(2)
    one = (0 * along, 20 * along)
    other = [shift * along + 3.7 * aside, (shift + 20) * along + 3.7 * aside][::turn]
    assert axis_distance(bar(*one), bar(*other)) == pytest.approx(np.hypot(3.7, beyond))


def test_bars_that_cross_have_no_distance():
    # Definition.
    one = bar(np.array([1.0, -2.0, 3.0]), np.array([5.0, 6.0, 7.0]))
    other = bar(np.array([3.0, 2.0, 0.5]), np.array([3.0, 2.0, 9.0]))
    assert axis_distance(one, other) == pytest.approx(0, abs=1e-12)
