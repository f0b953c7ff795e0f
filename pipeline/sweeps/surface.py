"""Response surfaces: smooth functions through a design's outcomes, and how well they predict.

Many outcomes at the same points share one fit: they are the columns of a matrix.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

from geometries.errors import StudyError
from pipeline.study.design import least_points

Array = NDArray[np.float64]
Predict = Callable[[Array], Array]
Fit = Callable[[Array, Array], Predict]
PER_COEFFICIENT = 1.5  # points that a regression needs for each coefficient; common practice, no source
ONE_BY_ONE = 60  # points up to which each is left out by itself
FOLDS, SEED = 10, 20_260  # beyond that, parts that are left out in turn, and the seed that deals them
SAME = 9  # digits of a share by which points are one and the same


@dataclass(frozen=True)
class Surface:
    """Response surfaces of several outcomes.

    Parameters
    ----------
    kind : str
        Method, in words.
    predict : callable
        Values (n, m) at points (n, d).
    q2 : Array
        Cross-validated predictive coefficient of each outcome (m,); NaN where it does not vary.
    """

    kind: str
    predict: Predict
    q2: Array


def fit_surface(points: Array, values: Array) -> Surface:
    """Fit quadratic regressions where the points suffice, else thin-plate splines.

    Points (n, d) are factors as shares of their ranges, values (n, m) outcomes.

    Raises
    ------
    StudyError
        If the points are too few, in words for a note.

    Notes
    -----
    Q2 = 1 - sum (y - y_cv)^2 / sum (y - mean y)^2, where y_cv is predicted by the surface of the
    other points: each point in turn is left out up to 60 of them, beyond that each tenth part. 1 is
    perfect; 0 is no better than the mean.
    """
    first = np.unique(np.round(points, SAME), axis=0, return_index=True)[1]
    points, values = points[first], values[first]
    count, factors = points.shape
    if count < least_points(factors):
        raise StudyError(
            f"{count} different points are too few for a response surface; the least is "
            f"{least_points(factors)}"
        )
    squared = [k for k in range(factors) if np.unique(points[:, k]).size > 2]
    matrix = _terms(points, squared)
    rank = np.linalg.matrix_rank(matrix)
    enough = matrix.shape[1] == rank and count >= PER_COEFFICIENT * rank
    kind = "quadratic regression" if enough else "thin-plate spline"
    fit = _regression(squared) if enough else _spline
    try:
        return Surface(kind, fit(points, values), _q2(points, values, fit))
    except np.linalg.LinAlgError:
        raise StudyError(
            f"{count} points leave no response surface when one of them is left out"
        ) from None


def _terms(points: Array, squared: list[int]) -> Array:
    """Constant, linear, mixed and quadratic terms (n, p); a factor with two levels has no square."""
    mixed = [points[:, j] * points[:, k] for j, k in combinations(range(points.shape[1]), 2)]
    squares = [points[:, k] ** 2 for k in squared]
    return np.column_stack([np.ones(len(points)), points, *mixed, *squares])


def _regression(squared: list[int]) -> Fit:
    def fit(points: Array, values: Array) -> Predict:
        weights = np.linalg.lstsq(_terms(points, squared), values, rcond=None)[0]
        return lambda where: _terms(where, squared) @ weights

    return fit


def _spline(points: Array, values: Array) -> Predict:
    """Thin-plate spline with a linear part, through every point."""
    return RBFInterpolator(points, values, kernel="thin_plate_spline", degree=1)


def _q2(points: Array, values: Array, fit: Fit) -> Array:
    """Predictive coefficient of each outcome from points that are left out."""
    count = len(points)
    parts = count if count <= ONE_BY_ONE else FOLDS
    left_out = np.array_split(np.random.default_rng(SEED).permutation(count), parts)
    predicted = np.empty_like(values)
    for part in left_out:
        rest = np.setdiff1d(np.arange(count), part)
        predicted[part] = fit(points[rest], values[rest])(points[part])
    missed = np.sum((values - predicted) ** 2, axis=0)
    spread = np.sum((values - values.mean(axis=0)) ** 2, axis=0)
    flat = np.ptp(values, axis=0) <= 1e-9 * np.abs(values).max(axis=0)
    return np.where(flat, np.nan, 1 - missed / np.where(flat, 1.0, spread))
