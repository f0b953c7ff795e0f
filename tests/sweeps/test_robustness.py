"""Outcomes over drawn points: rates, indices, maps and flips of functions that are known."""

from __future__ import annotations

from collections.abc import Callable
from math import pi, sqrt

import numpy as np
import pytest
from scipy.stats import binomtest, qmc

from pipeline.study.robustness import Robustness
from pipeline.sweeps.flip import Flip, nearest_flip
from pipeline.sweeps.robustness import (
    OutcomeShares,
    Proportion,
    cone_map,
    decided_by,
    shares_of,
    tissue_map,
    turning,
)
from pipeline.tables.comparisons import verdict

nan = np.nan
Known = Callable[[np.ndarray], float]


def _points(count: int, dimension: int, seed: int = 3) -> np.ndarray:
    return qmc.Sobol(dimension, seed=np.random.default_rng(seed)).random(count)


# --- Shares ---------------------------------------------------------------------------------------


def test_a_share_has_the_interval_of_wilson():
    """Source: Newcombe 1998, Stat Med 17:857, table I, method 3, from memory; and scipy's own."""
    for count, total, low, high in (
        (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718),
    ):  # fmt: skip
        found = Proportion.of(count, total)
        assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)
        theirs = binomtest(count, total).proportion_ci(method="wilson")
        assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-7)
        assert found.share == count / total
        assert found.half == max(found.share - found.low, found.high - found.share)
    assert (Proportion.of(20, 20).high, Proportion.of(0, 0).high) == (1.0, 1.0)
    assert np.isnan(Proportion.of(0, 0).share)


def test_an_interval_holds_the_truth_as_often_as_it_says():
    """Definition: 95 of 100 draws of 500 independent points; the binomial scatter of 2000 is 0.5 %."""
    counts = np.random.default_rng(5).binomial(500, 0.23, 2000)
    held = [p.low <= 0.23 <= p.high for p in (Proportion.of(int(c), 500) for c in counts)]
    assert np.mean(held) == pytest.approx(0.95, abs=0.015)


def test_outcomes_are_those_of_the_table_of_comparisons():
    """The rule for one difference, `verdict`, point by point; ties and unknown errors among them."""
    rng = np.random.default_rng(2)
    a, b = rng.integers(0, 6, (2, 400)).astype(float)
    combined = rng.integers(0, 4, 400).astype(float)
    combined[:30], a[25:60] = nan, nan
    combined[60:65] = np.inf
    said = [verdict(float(d), float(c)) for d, c in zip(b - a, combined, strict=True)]
    covered = np.isfinite(a)
    expected = {
        word: sum(s == word and bool(c) for s, c in zip(said, covered, strict=True))
        for word in set(said)
    }
    found = shares_of(a, b, combined)
    assert isinstance(found, OutcomeShares)
    assert found.lower.count == expected["a lower"]
    assert found.higher.count == expected["a higher"]
    assert found.unknown == expected["unknown error"] == 30
    assert found.undecided.count == expected["undecided"] + found.unknown
    assert found.uncovered == 35
    assert found.lower.share == expected["a lower"] / 365
    assert min(expected.values()) > 20
    assert list(decided_by(b - a, combined)[65:]) == [s.startswith("a ") for s in said[65:]]


def test_a_rate_of_a_known_function():
    """Closed form: over the unit square a = x, b = y with errors of 0.1 decide (0.8)^2 / 2 each way."""
    x, y = _points(8192, 2).T
    found = shares_of(x, y, np.full(8192, 0.2))
    assert found.lower.share == pytest.approx(0.32, abs=0.003)
    assert found.higher.share == pytest.approx(0.32, abs=0.003)
    assert found.undecided.share == pytest.approx(0.36, abs=0.003)


def test_nothing_is_covered():
    found = shares_of(np.full(3, nan), np.ones(3), np.ones(3))
    assert (found.uncovered, found.lower.count, found.undecided.count) == (3, 0, 0)


# --- What turns a difference ----------------------------------------------------------------------


def _ishigami(shares: np.ndarray) -> np.ndarray:
    a, b, c = pi * (2 * shares.T - 1)
    return np.sin(a) + 7 * np.sin(b) ** 2 + 0.1 * c**4 * np.sin(a)


def test_indices_of_the_ishigami_function():
    """Ishigami & Homma 1990 at a = 7, b = 0.1: 0.3139, 0.4424 and 0, as SALib quotes them."""
    shares = _points(16384, 3)
    found = turning(shares, _ishigami(shares))
    assert found == pytest.approx([0.3139, 0.4424, 0.0], abs=0.01)


@pytest.mark.parametrize(("count", "near"), [(10_000, 0.005), (1000, 0.02), (128, 0.06)])
def test_indices_of_a_sum_are_shares_of_the_squared_slopes(count: int, near: float):
    slopes = np.array([3.0, -2.0, 0.0, 1.0])
    shares = _points(16384, 4)[:count]
    found = turning(shares, shares @ slopes + 5)
    assert found == pytest.approx(slopes**2 / 14, abs=near)


def test_a_product_is_explained_by_both_columns_together():
    """Closed form for x y over -1..1: each alone explains nothing, both explain all.

    Of an 8 by 8 grid 1 - 1/64 of the variance of either factor lies between the parts.
    """
    shares = _points(8192, 3)
    x, _, z = 2 * shares.T - 1
    alone = turning(shares, x * z)
    assert alone == pytest.approx([0, 0, 0], abs=0.01)
    together = turning(shares, x * z, (0, 2))
    assert together == pytest.approx([(1 - 1 / 64) ** 2, 0, (1 - 1 / 64) ** 2], abs=0.01)


def test_scatter_alone_explains_nothing():
    """32 means of 31 values each would show 3 % between them."""
    rng = np.random.default_rng(6)
    found = np.array([turning(rng.random((1000, 1)), rng.normal(size=1000)) for _ in range(60)])
    assert found.mean() < 0.006


def test_indices_leave_out_what_is_not_covered_and_what_does_not_vary():
    shares = _points(4096, 2)
    difference = np.where(shares[:, 1] > 0.9, nan, shares[:, 0])
    assert turning(shares, difference) == pytest.approx([1, 0], abs=0.005)
    assert list(turning(shares, np.full(4096, 3.3))) == [0, 0]
    assert list(turning(shares, np.full(4096, nan))) == [0, 0]


# --- The nearest flip -----------------------------------------------------------------------------


def _flip(known: Known, start: list[float], count: int = 2048) -> Flip | None:
    shares = _points(count, len(start))
    return nearest_flip(
        known, np.array(start), shares, np.array([_or_nan(known, one) for one in shares])
    )


def _or_nan(known: Known, shares: np.ndarray) -> float:
    try:
        return known(shares)
    except ValueError:
        return nan


def _is_just_beyond(known: Known, start: list[float], flip: Flip) -> bool:
    """Whether the sign has turned there, and not yet a hair before."""
    way = flip.shares - np.array(start)
    assert flip.distance == pytest.approx(np.linalg.norm(way))
    assert np.all((flip.shares >= 0) & (flip.shares <= 1))
    before = known(np.array(start) + (1 - 1e-5) * way)
    return known(flip.shares) * known(np.array(start)) < 0 < before * known(np.array(start))


@pytest.mark.parametrize("sign", [1, -1])
def test_the_nearest_flip_of_a_plane_is_the_foot_of_the_perpendicular(sign: int):
    """Closed form: |f| over the size of the slopes, against the slopes."""
    slopes, start = np.array([3.0, -2.0, 0.5, 1.0]), [0.3, 0.6, 0.4, 0.5]

    def plane(shares: np.ndarray) -> float:
        return sign * float(shares @ slopes - 1.3) * 1e-3

    flip = _flip(plane, start)
    assert flip is not None
    value = np.array(start) @ slopes - 1.3
    assert flip.distance == pytest.approx(abs(value) / sqrt(14.25), rel=1e-5)
    assert flip.shares == pytest.approx(np.array(start) - value * slopes / 14.25, abs=1e-3)
    assert _is_just_beyond(plane, start, flip)


def test_a_flip_stays_within_the_ranges():
    """By hand: the line 2 x + y = 2.9 has y = 0.9 at x = 1, where the box ends.

    The foot of the perpendicular from (0.5, 0.7) is at x = 0.98, that from (0.9, 0.1) at x = 1.3.
    """

    def plane(shares: np.ndarray) -> float:
        return float(2 * shares[0] + shares[1] - 2.9)

    flip = _flip(plane, [0.5, 0.7])
    assert flip is not None
    assert flip.shares == pytest.approx([0.98, 0.94], abs=1e-4)
    assert flip.distance == pytest.approx(1.2 / sqrt(5), rel=1e-5)
    flip = _flip(plane, [0.9, 0.1])
    assert flip is not None
    assert flip.shares == pytest.approx([1.0, 0.9], abs=1e-4)
    assert flip.distance == pytest.approx(sqrt(0.1**2 + 0.8**2), rel=1e-4)


def test_the_nearest_flip_from_inside_a_sphere():
    """Closed form: the radius less the distance to the centre."""
    centre = np.array([0.5, 0.45, 0.55])

    def sphere(shares: np.ndarray) -> float:
        return float(np.sum((shares - centre) ** 2) - 0.4**2)

    start = [0.62, 0.4, 0.6]
    flip = _flip(sphere, start)
    assert flip is not None
    expected = 0.4 - float(np.linalg.norm(np.array(start) - centre))
    assert flip.distance == pytest.approx(expected, rel=1e-5)
    assert _is_just_beyond(sphere, start, flip)
    assert flip.evaluations < 2000


def test_no_flip_where_the_sign_never_turns():
    assert _flip(lambda shares: 1.0 + float(shares[0]), [0.5, 0.5]) is None
    assert _flip(lambda shares: nan if shares[0] < 0.6 else -1.0, [0.5, 0.5]) is None


def test_a_start_on_the_border_is_its_own_flip():
    flip = _flip(lambda shares: float(shares[0] - 0.5), [0.5, 0.25])
    assert flip is not None
    assert (flip.distance, list(flip.shares)) == (0.0, [0.5, 0.25])


def test_known_points_of_another_sign_than_what_is_evaluated_are_no_flip():
    shares = _points(64, 2)
    assert nearest_flip(lambda _: 1.0, np.array([0.5, 0.5]), shares, np.full(64, -1.0)) is None


def test_the_nearest_point_may_lie_beyond_the_farther_border():
    """By hand: borders at 0.2 and 0.3 from the start, the known points at 0.4 and 0.32."""

    def strip(shares: np.ndarray) -> float:
        return float((shares[0] - 0.3) * (0.8 - shares[0]))

    known = np.array([[0.82, 0.5], [0.1, 0.5], [0.6, 0.5]])
    start = np.array([0.5, 0.5])
    flip = nearest_flip(strip, start, known, np.array([strip(one) for one in known]))
    assert flip is not None
    assert flip.distance == pytest.approx(0.2, rel=1e-5)


@pytest.mark.parametrize("refuses", [False, True])
def test_a_flip_is_not_looked_for_where_nothing_is_covered(refuses: bool):
    """By hand: the plane turns at x = 0.7, but below y = 0.6 nothing is covered."""

    def torn(shares: np.ndarray) -> float:
        if shares[1] < 0.6 < shares[0]:
            if refuses:
                raise ValueError("not covered")
            return nan
        return float(shares[0] - 0.7)

    flip = _flip(torn, [0.5, 0.3])
    assert flip is not None
    assert flip.shares[0] >= 0.7
    assert flip.shares[1] >= 0.6
    assert flip.distance == pytest.approx(sqrt(0.2**2 + 0.3**2), rel=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_a_wavy_border_is_met_as_near_as_the_best_of_many_random_points(seed: int):
    rng = np.random.default_rng(seed)
    waves, phases = rng.normal(0, 7, (5, 3)), rng.uniform(0, 2 * pi, 5)

    def wavy_at(shares: np.ndarray) -> np.ndarray:
        return np.sin(shares @ waves.T + phases).sum(axis=-1) + 1.2

    def wavy(shares: np.ndarray) -> float:
        return float(wavy_at(shares))

    start = next(one for one in rng.random((500, 3)) if wavy(one) > 1.5)
    flip = _flip(wavy, list(start), 8192)
    assert flip is not None
    assert _is_just_beyond(wavy, list(start), flip)
    many = rng.random((100_000, 3))
    turned = many[wavy_at(many) < 0]
    assert len(turned) > 1000
    best = np.linalg.norm(turned - start, axis=1).min()
    assert flip.distance <= 1.02 * best


# --- Maps -----------------------------------------------------------------------------------------


def test_a_map_over_the_cone_sees_which_way_a_tilt_turns_the_outcome():
    """By hand: b - a is the medial tilt, decided from 2 degrees on; azimuth 180 is medial."""
    tilt = {
        "name": "load_direction",
        "distribution": "cone",
        "half_angle_deg": 12.0,
        "source": "assumed",
    }
    drawn = Robustness.model_validate({"samples": 50_000, "inputs": [tilt]})
    polar, azimuth = drawn.values(drawn.shares())["load_direction"].T
    medial = polar * np.cos(np.radians(180 - azimuth))
    cells = cone_map(polar, azimuth, medial, np.abs(medial) > 2, 12.0)
    assert sum(cell.tally.covered for cell in cells) == 50_000
    assert 0.75 < len(cells) / 144 < 1, "the corners of the square are no part of the cone"
    for cell in cells:
        outcome = (cell.tally.lower, cell.tally.higher, cell.tally.undecided)
        assert outcome == (
            (1, 0, 0) if cell.medial_deg > 2 else (0, 1, 0) if cell.medial_deg < -2 else (0, 0, 1)
        )
        assert np.hypot(cell.medial_deg, cell.anterior_deg) < 12 + sqrt(2)
    (anterior,) = cone_map(np.array([5.0]), np.array([90.0]), np.ones(1), np.ones(1, bool), 12.0)
    assert (abs(anterior.medial_deg), anterior.anterior_deg) == pytest.approx((1.0, 5.0))
    assert sorted({cell.medial_deg for cell in cells}) == pytest.approx(np.arange(-11, 12, 2))


def test_a_map_over_the_modulus_has_bins_of_equal_ratio():
    """By hand: 0.2 to 20 MPa in 24 bins is a twelfth of a decade each."""
    modulus = 0.2 * 100 ** _points(4096, 1)[:, 0]
    difference = np.where(modulus > 15, nan, np.log10(modulus / 2))
    bins = tissue_map(modulus, difference, np.abs(difference) > 0.5, (0.2, 20.0))
    assert len(bins) == 24
    assert [one.high_mpa / one.low_mpa for one in bins] == pytest.approx([10 ** (1 / 12)] * 24)
    assert (bins[0].low_mpa, bins[-1].high_mpa) == pytest.approx((0.2, 20.0))
    outcomes = [(one.tally.lower, one.tally.higher, one.tally.undecided) for one in bins]
    assert outcomes[:6] == [(0, 1, 0)] * 6
    assert outcomes[6:18] == [(0, 0, 1)] * 12
    assert outcomes[18:22] == [(1, 0, 0)] * 4
    assert sum(one.tally.uncovered for one in bins) == np.isnan(difference).sum() > 200
    assert bins[-1].tally.covered == 0
    assert np.isnan(bins[-1].tally.lower)
    assert sum(one.tally.covered + one.tally.uncovered for one in bins) == 4096


def test_a_map_leaves_out_bins_without_points():
    bins = tissue_map(
        np.array([1.0, 1.01, 20.0]), np.array([1.0, -1.0, nan]), np.array([1, 1, 0]) > 0, (0.2, 20.0)
    )
    assert [(one.tally.covered, one.tally.uncovered) for one in bins] == [(2, 0), (0, 1)]
    assert (bins[0].tally.lower, bins[0].tally.higher) == (0.5, 0.5)
    assert bins[1].high_mpa == pytest.approx(20.0)
