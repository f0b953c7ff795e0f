"""Whether a difference between two constructs holds at all points that were drawn, and what turns it.

Everywhere a difference is b - a, of one quantity. NaN stands for a point that the model does not cover.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.intp]
NORMAL_95 = 1.959964  # quantile of the normal distribution at 97.5 %
BINS = 32  # equal parts of an input's share at most, as of 10 000 points
BINS_PER_ROOT = 1.5  # bins per cube root of the points: what bins blur and what they scatter are alike
TILTS, MODULI = 12, 24  # cells of a map to a side; bins of the tissue's modulus


@dataclass(frozen=True)
class Proportion:
    """A share of the points, and where it lies with 95 % confidence.

    Parameters
    ----------
    count : int
        Points.
    share : float
        Of all that are covered; NaN if none is.
    low, high : float
        Limits of the interval.

    Notes
    -----
    Wilson 1927, J Am Stat Assoc 22:209, as SciPy's manual quotes it, for independent points. Those of
    a Sobol sequence are spread more evenly and mostly err less, but nothing promises that.
    """

    count: int
    share: float
    low: float
    high: float

    @classmethod
    def of(cls, count: int, total: int) -> Proportion:
        """So many points of all."""
        if not total:
            return cls(count, nan, 0.0, 1.0)
        share, square = count / total, NORMAL_95**2 / total
        centre = (share + square / 2) / (1 + square)
        half = sqrt(square * share * (1 - share) + square**2 / 4) / (1 + square)
        return cls(count, share, max(0.0, centre - half), min(1.0, centre + half))

    @property
    def half(self) -> float:
        """How far the share may be off, the longer side of the interval."""
        return max(self.share - self.low, self.high - self.share)


@dataclass(frozen=True)
class OutcomeShares:
    """How often a was found lower or higher than b.

    Parameters
    ----------
    lower, higher, undecided : Proportion
        Of the covered points. Undecided are those, too, whose error nobody knows.
    unknown : int
        Points whose error nobody knows.
    uncovered : int
        Points that the model does not cover, in no share.
    """

    lower: Proportion
    higher: Proportion
    undecided: Proportion
    unknown: int
    uncovered: int


@dataclass(frozen=True)
class Tally:
    """The same in one cell of a map.

    Parameters
    ----------
    covered, uncovered : int
        Points.
    lower, higher, undecided : float
        Shares of the covered ones; NaN if there is none.
    """

    covered: int
    uncovered: int
    lower: float
    higher: float
    undecided: float


@dataclass(frozen=True)
class TiltCell:
    """A cell of the map over the load's direction: its middle, degrees, and its points."""

    medial_deg: float
    anterior_deg: float
    tally: Tally


@dataclass(frozen=True)
class ModulusBin:
    """A bin of the tissue's modulus: its limits, MPa, and its points."""

    low_mpa: float
    high_mpa: float
    tally: Tally


def decided_by(difference: Array, combined: Array) -> Flags:
    """Where b - a exceeds the sum of both errors, as `verdict` has it for one difference."""
    return np.isfinite(combined) & (np.abs(difference) > combined)


def shares_of(a: Array, b: Array, combined: Array) -> OutcomeShares:
    """Count where a is lower, higher, undecided against b.

    Parameters
    ----------
    a, b : Array
        Values (n,).
    combined : Array
        Sum of the half-widths of both errors (n,).
    """
    difference = b - a
    covered, decided = np.isfinite(difference), decided_by(difference, combined)
    total = int(covered.sum())
    lower = int((decided & covered & (difference > 0)).sum())
    higher = int((decided & covered & (difference < 0)).sum())
    return OutcomeShares(
        lower=Proportion.of(lower, total),
        higher=Proportion.of(higher, total),
        undecided=Proportion.of(total - lower - higher, total),
        unknown=int((covered & ~np.isfinite(combined)).sum()),
        uncovered=len(difference) - total,
    )


def turning(shares: Array, difference: Array, pair: tuple[int, int] | None = None) -> Array:
    """First-order Sobol index of each column of the shares: what it alone explains of the variance.

    Parameters
    ----------
    shares : Array
        Points (n, d), 0 to 1, evenly spread.
    difference : Array
        b - a at each of them (n,).
    pair : tuple of int or None
        Columns that are one input; both get the index of the two together.

    Returns
    -------
    Array
        Indices (d,), 0 to 1; 0 where the difference does not vary.

    Notes
    -----
    Variance of the means of equal bins over the total one, less what means of so few points scatter:
    the correlation ratio epsilon squared of Kelley 1935, PNAS 21:554, from memory. Points of a Sobol
    sequence scatter less, so that an index next to 0 may come out as 0.
    """
    covered = np.isfinite(difference)
    points, values = shares[covered], difference[covered]
    count = len(values)
    indices = np.zeros(shares.shape[1])
    if not count or np.ptp(values) <= 1e-12 * np.abs(values).max():
        return indices
    bins = min(BINS, round(BINS_PER_ROOT * count ** (1 / 3)))
    for column, share in enumerate(points.T):
        indices[column] = _explained(_part(share, bins), values)
    if pair is not None:
        side = round(sqrt(2 * bins))
        first, second = (_part(points[:, column], side) for column in pair)
        indices[[*pair]] = _explained(first * side + second, values)
    return indices


def _part(share: Array, count: int) -> Places:
    """Which of so many equal parts of 0 to 1 each share lies in."""
    return np.clip((share * count).astype(np.intp), 0, count - 1)


def _explained(bins: Places, values: Array) -> float:
    """Share of the variance that lies between bins."""
    sizes = np.bincount(bins)
    centred = values - values.mean()
    sums = np.bincount(bins, weights=centred)
    filled = sizes > 0
    used, left = int(filled.sum()), len(values) - int(filled.sum())
    if left < 1:
        return 0.0
    total = float(centred @ centred)
    between = float(np.sum(sums[filled] ** 2 / sizes[filled]))
    scatter = (used - 1) * (total - between) / left
    return min(1.0, max(0.0, (between - scatter) / total))


def cone_map(
    polar: Array, azimuth: Array, difference: Array, decided: Flags, half_angle_deg: float
) -> tuple[TiltCell, ...]:
    """Outcomes over the load's direction, in cells of equal tilt; those without points are left out.

    Parameters
    ----------
    polar, azimuth : Array
        Tilt off the load's own direction and to which side, degrees (n,): 0 lateral, 90 anterior.
    difference : Array
        b - a (n,).
    decided : NDArray of bool
        Where it is larger than both errors (n,).
    half_angle_deg : float
        Edge of the map.
    """
    turned = np.radians(azimuth)
    tilts = (-polar * np.cos(turned), polar * np.sin(turned))
    medial, anterior = (_part((tilt / half_angle_deg + 1) / 2, TILTS) for tilt in tilts)
    middles = half_angle_deg * ((2 * np.arange(TILTS) + 1) / TILTS - 1)
    return tuple(
        TiltCell(float(middles[cell // TILTS]), float(middles[cell % TILTS]), tally)
        for cell, tally in _tallies(medial * TILTS + anterior, difference, decided)
    )


def tissue_map(
    modulus: Array, difference: Array, decided: Flags, limits: tuple[float, float]
) -> tuple[ModulusBin, ...]:
    """Outcomes over the tissue's modulus, MPa (n,), in bins of equal ratio between two limits.

    The difference and where it is decided as in `cone_map`; bins without points are left out.
    """
    low, high = limits
    edges = np.geomspace(low, high, MODULI + 1)
    bins = _part(np.log(modulus / low) / np.log(high / low), MODULI)
    return tuple(
        ModulusBin(float(edges[one]), float(edges[one + 1]), tally)
        for one, tally in _tallies(bins, difference, decided)
    )


def _tallies(cells: Places, difference: Array, decided: Flags) -> Iterator[tuple[int, Tally]]:
    """What each cell that has points counts."""
    covered = np.isfinite(difference)
    lower, higher = decided & (difference > 0), decided & (difference < 0)
    most = int(cells.max(initial=0)) + 1
    sorts = (covered, ~covered, lower & covered, higher & covered)
    counted = np.column_stack([np.bincount(cells[one], minlength=most) for one in sorts])
    for cell in np.unique(cells):
        inside, outside, less, more = (int(count) for count in counted[cell])
        parts = [part / inside if inside else nan for part in (less, more, inside - less - more)]
        yield int(cell), Tally(inside, outside, *parts)
