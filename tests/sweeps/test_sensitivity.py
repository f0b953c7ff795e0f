"""Sensitivity from tables of results: known functions in place of the model, indices beside them."""

from __future__ import annotations

from collections.abc import Mapping
from math import pi, sin
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from pipeline.sweeps.sensitivity import SENSITIVITY_COLUMNS, sensitivity_rows
from pipeline.sweeps.surface import fit_surface
from pipeline.tables.rows import Row
from tests.designs import KEYS, fabricate, factors, share, study_of

Values = Mapping[str, float]
SLOPES = (3.0, -2.0, 1.0)


def _linear(values: Values) -> float:
    """A plane over the factors' shares."""
    return 100 + sum(slope * share(values, number) for number, slope in enumerate(SLOPES))


def _ishigami(values: Values) -> float:
    """Ishigami & Homma 1990, a = 7, b = 0.1, each factor from -pi to pi."""
    a, b, c = (pi * (2 * share(values, number) - 1) for number in range(3))
    return sin(a) + 7 * sin(b) ** 2 + 0.1 * c**4 * sin(a)


def _of(rows: list[dict[str, str]], index: str, column: str = "value") -> list[float]:
    """Values of an index, a factor each."""
    found = {row["factor"]: row[column] for row in rows if row["index"] == index}
    return [float(found[key]) for key in KEYS]


# --- Sobol ----------------------------------------------------------------------------------------

# Analytic indices of Ishigami & Homma 1990 (Proc 1st ISUMA: 398) at these constants, closed form:
# V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8, V13 = b^2 pi^8 (1/18 - 1/50).
V1, V2, V13 = (1 + 0.1 * pi**4 / 5) ** 2 / 2, 49 / 8, 0.01 * pi**8 * (1 / 18 - 1 / 50)
FIRST = np.array([V1, V2, 0.0]) / (V1 + V2 + V13)
TOTAL = np.array([V1 + V13, V2, V13]) / (V1 + V2 + V13)


def test_the_closed_form_is_the_published_one():
    """First-order numbers as SALib quotes them; total ones recomputed."""
    assert pytest.approx([0.3139, 0.4424, 0.0], abs=1e-4) == FIRST
    assert pytest.approx([0.5576, 0.4424, 0.2437], abs=1e-4) == TOTAL


def test_sobol_indices_of_the_ishigami_function(demo: dict[str, Any], tmp_path: Path):
    """The estimator's own half-widths are 0.05 to 0.1 here, and must hold the truth."""
    study = study_of(demo, kind="sobol_indices", samples=1024, seed=11)
    rows = fabricate(study, tmp_path, _ishigami)
    assert _of(rows, "S1") == pytest.approx(FIRST, abs=0.04)
    assert _of(rows, "ST") == pytest.approx(TOTAL, abs=0.04)
    for index, truth in (("S1", FIRST), ("ST", TOTAL)):
        missed = np.abs(np.array(_of(rows, index)) - truth)
        assert np.all(missed < np.array(_of(rows, index, "confidence")) + 1e-9)
    assert {row["points"] for row in rows} == {"5120"}
    assert {row["method"] for row in rows} == {"sobol_indices"}
    assert 0 < float(rows[0]["q2"]) < 0.9, "no quadratic surface fits this function"


def test_sobol_indices_of_a_plane(demo: dict[str, Any], tmp_path: Path):
    """Closed form: shares of the squared slopes, S1 = ST, for a sum of independent even factors."""
    shares = np.square(SLOPES) / np.square(SLOPES).sum()
    for kind in ({"kind": "sobol_indices", "samples": 256}, {"kind": "latin_hypercube", "samples": 20}):
        rows = fabricate(study_of(demo, seed=2, **kind), tmp_path, _linear)
        assert _of(rows, "S1") == pytest.approx(shares, abs=0.02)
        assert _of(rows, "ST") == pytest.approx(shares, abs=0.02)
        assert _of(rows, "S1", "q2") == pytest.approx([1, 1, 1], abs=1e-6)


def test_sobol_indices_of_a_surface_see_interactions(demo: dict[str, Any], tmp_path: Path):
    """Closed form for x1 x2 over the unit square: S1 = 3/7 each, ST = 4/7; the third does nothing."""
    study = study_of(demo, kind="sobol_sequence", samples=32, seed=2)
    rows = fabricate(study, tmp_path, lambda values: share(values, 0) * share(values, 1))
    assert _of(rows, "S1") == pytest.approx([3 / 7, 3 / 7, 0], abs=0.02)
    assert _of(rows, "ST") == pytest.approx([4 / 7, 4 / 7, 0], abs=0.02)
    assert {row["surface"] for row in rows} == {"quadratic regression"}
    assert {row["confidence"] for row in rows} == {""}


# --- Morris ---------------------------------------------------------------------------------------


def test_morris_of_a_plane(demo: dict[str, Any], tmp_path: Path):
    """Closed form: every elementary effect is the slope over the whole range."""
    study = study_of(demo, kind="morris", trajectories=6, seed=3)
    rows = fabricate(study, tmp_path, _linear)
    assert _of(rows, "mu") == pytest.approx(SLOPES, abs=1e-3)
    assert _of(rows, "mu_star") == pytest.approx(np.abs(SLOPES), abs=1e-3)
    assert _of(rows, "sigma") == pytest.approx([0, 0, 0], abs=1e-3)
    assert _of(rows, "mu_star", "confidence") == pytest.approx([0, 0, 0], abs=1e-3)
    assert {row["unit"] for row in rows} == {"N/mm"}


def _effects_of_ishigami() -> tuple[np.ndarray, np.ndarray]:
    """Mean and mean size of all elementary effects that four levels allow, by enumeration."""
    levels, step = [0.0, 1 / 3, 2 / 3, 1.0], 2 / 3
    found: list[list[float]] = [[], [], []]
    for a in levels:
        for b in levels:
            for c in levels:
                for number, place in enumerate((a, b, c)):
                    if place + step <= 1 + 1e-9:
                        before, after = [a, b, c], [a, b, c]
                        after[number] += step
                        found[number].append((_at(after) - _at(before)) / step)
    return np.array([np.mean(f) for f in found]), np.array([np.mean(np.abs(f)) for f in found])


def _at(shares: list[float]) -> float:
    a, b, c = (pi * (2 * s - 1) for s in shares)
    return sin(a) + 7 * sin(b) ** 2 + 0.1 * c**4 * sin(a)


def test_morris_of_the_ishigami_function(demo: dict[str, Any], tmp_path: Path):
    """Definition: means over trajectories tend to those over all steps of the grid."""
    study = study_of(demo, kind="morris", trajectories=400, seed=3)
    rows = fabricate(study, tmp_path, _ishigami)
    mu, mu_star = _effects_of_ishigami()
    assert _of(rows, "mu_star") == pytest.approx(mu_star, rel=0.12)
    assert _of(rows, "mu") == pytest.approx(mu, abs=1.0)
    half = np.array(_of(rows, "mu_star", "confidence"))
    assert np.all(np.abs(np.array(_of(rows, "mu_star")) - mu_star) <= 1.5 * half + 1e-6)
    assert _of(rows, "sigma")[0] > 2 * abs(_of(rows, "mu")[0]) / 3, "it interacts"


@pytest.mark.parametrize(
    "kind",
    [{"kind": "morris", "trajectories": 4}, {"kind": "sobol_indices", "samples": 8}],
)
def test_methods_that_need_every_point_say_which_are_missing(
    demo: dict[str, Any], tmp_path: Path, kind: dict[str, Any]
):
    study = study_of(demo, seed=3, **kind)
    rows = fabricate(study, tmp_path, _linear, {"v002": "refused", "v009": "failed"})
    assert {row["value"] for row in rows} == {""}
    (note,) = {row["note"] for row in rows}
    assert "2 of " in note
    assert "v002 refused, v009" in note
    assert "needs all of them" in note
    assert {row["factor"] for row in rows} == set(KEYS)


def test_a_result_that_does_not_vary(demo: dict[str, Any], tmp_path: Path):
    for kind in (
        {"kind": "morris", "trajectories": 4}, {"kind": "sobol_indices", "samples": 8},
        {"kind": "latin_hypercube", "samples": 20},
    ):  # fmt: skip
        rows = fabricate(study_of(demo, seed=3, **kind), tmp_path, lambda _: 7.5)
        assert {(row["value"], row["q2"]) for row in rows} == {("", "")}
        assert all("does not vary" in row["note"] for row in rows)


# --- One at a time --------------------------------------------------------------------------------


def test_a_tornado_in_percent_of_the_study_as_written(demo: dict[str, Any], tmp_path: Path):
    """Definition; the demo's own values are 430, 27 and 31.5 mm."""
    listed = {"key": KEYS[1], "values": [29.0, 27.0, 25.0, 28.0]}
    one_sided = {"key": KEYS[2], "values": [31.5, 30.0]}
    three = [*factors(1), listed, one_sided]
    study = study_of(demo, kind="one_at_a_time", factors=three)

    def model(values: Values) -> float:
        return -(values[KEYS[0]] - 230) * (values[KEYS[1]] - 27 + 10) ** 2 * values[KEYS[2]] ** 2

    rows = fabricate(study, tmp_path, model)
    found = {(row["factor"], row["index"]): (float(row["value"]), row["at"]) for row in rows}
    expected = {
        (KEYS[0], "low"): (-15.0, "400"), (KEYS[0], "high"): (5.0, "440"),
        (KEYS[0], "swing"): (20.0, ""), (KEYS[1], "swing"): (80.0, ""),
        (KEYS[1], "low"): (-36.0, "25"), (KEYS[1], "high"): (44.0, "29"),
        (KEYS[2], "low"): (100 * (30**2 / 31.5**2 - 1), "30"), (KEYS[2], "high"): (0.0, "31.5"),
        (KEYS[2], "swing"): (100 * (1 - 30**2 / 31.5**2), ""),
    }  # fmt: skip
    assert set(found) == set(expected)
    for key, (value, at) in expected.items():
        assert found[key] == (pytest.approx(value, abs=1e-3), at)
    assert {row["unit"] for row in rows} == {"%"}


def test_a_tornado_of_words(demo: dict[str, Any], tmp_path: Path):
    words = {"key": "femur.preset", "label": "bone", "values": ["average", "osteoporotic"]}
    study = study_of(demo, kind="one_at_a_time", factors=[words])
    rows = fabricate(
        study, tmp_path, lambda values: 4.0 if values["femur.preset"] == "average" else 3.0
    )
    assert [(row["index"], float(row["value"]), row["at"]) for row in rows] == [
        ("low", 0.0, "average"), ("high", -25.0, "osteoporotic"), ("swing", 25.0, ""),
    ]  # fmt: skip
    assert all("words, not numbers, in bone" in row["note"] for row in rows)
    assert {row["label"] for row in rows} == {"bone"}


def test_a_tornado_without_its_middle_or_an_end(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, kind="one_at_a_time")
    rows = fabricate(study, tmp_path, _linear, {"v001": "failed"})
    assert all(not row["value"] and "as written has no result" in row["note"] for row in rows)
    rows = fabricate(study, tmp_path, _linear, {"v003": "failed"})
    empty = {row["factor"] for row in rows if not row["value"]}
    assert empty == {KEYS[0]}
    assert all("v003 without result" in row["note"] for row in rows if row["factor"] == KEYS[0])
    rows = fabricate(study, tmp_path, lambda values: values[KEYS[0]] - 430)
    assert all("0, of which nothing is a percentage" in row["note"] for row in rows)


# --- The response surface -------------------------------------------------------------------------


def test_q2_is_that_of_points_left_out():
    """Closed form of leave-one-out in linear regression: residual over 1 - leverage."""
    rng = np.random.default_rng(8)
    x = rng.random((12, 1))
    y = np.column_stack([np.sin(5 * x[:, 0]), 2 - x[:, 0] ** 2])
    matrix = np.column_stack([np.ones(12), x, x**2])
    hat = matrix @ np.linalg.pinv(matrix)
    missed = (y - hat @ y) / (1 - np.diag(hat))[:, None]
    expected = 1 - np.sum(missed**2, axis=0) / np.sum((y - y.mean(axis=0)) ** 2, axis=0)
    surface = fit_surface(x, y)
    assert surface.kind == "quadratic regression"
    assert surface.q2 == pytest.approx(expected, abs=1e-9)
    assert surface.q2[1] == pytest.approx(1)


def test_few_points_get_a_spline_through_all_of_them():
    """Definition: thin-plate splines interpolate, and keep planes; noise is not predicted."""
    rng = np.random.default_rng(8)
    x = rng.random((9, 3))
    y = np.column_stack([x @ [1.0, 2.0, 3.0], rng.random(9)])
    surface = fit_surface(x, y)
    assert surface.kind == "thin-plate spline"
    assert surface.predict(x) == pytest.approx(y, abs=1e-6)
    assert surface.q2[0] == pytest.approx(1)
    assert surface.q2[1] < 0.5


def test_the_same_point_twice_is_one_point():
    """Else a point that is left out would be predicted by itself."""
    rng = np.random.default_rng(8)
    x, y = rng.random((12, 2)), rng.random((12, 1))
    once, twice = fit_surface(x, y), fit_surface(np.tile(x, (2, 1)), np.tile(y, (2, 1)))
    assert twice.q2 == pytest.approx(once.q2)


def test_a_surface_that_predicts_nothing_says_so(demo: dict[str, Any], tmp_path: Path):
    """Values in no order have nothing to predict: by definition Q² is about 0 then, or less."""
    drawn = iter(np.random.default_rng(4).normal(size=30))
    study = study_of(demo, kind="latin_hypercube", samples=30, seed=1)
    rows = fabricate(study, tmp_path, lambda _: 5.0 + float(next(drawn)))
    assert {float(row["q2"]) <= 0 for row in rows} == {True}
    assert all("no better than the mean" in row["note"] for row in rows)


def test_too_few_points_leave_q2_empty_with_words(demo: dict[str, Any], tmp_path: Path):
    rows = fabricate(study_of(demo, kind="latin_hypercube", samples=5, seed=1), tmp_path, _linear)
    assert {(row["q2"], row["value"]) for row in rows} == {("", "")}
    assert all("5 different points are too few" in row["note"] for row in rows)


def test_a_surface_leaves_out_failed_points_and_says_so(demo: dict[str, Any], tmp_path: Path):
    study = study_of(
        demo, kind="latin_hypercube", samples=24, seed=1, constraints=["femur.length_mm < 439"]
    )
    rows = fabricate(study, tmp_path, _linear, {"v004": "failed"})
    kept = len(read_table(tmp_path / "design.csv"))
    assert {row["points"] for row in rows} == {str(kept - 1)}
    (note,) = {row["note"] for row in rows}
    assert f"1 of {kept} points has no result (v004), left out" in note
    assert "surface is read beyond the constraints" in note
    assert float(rows[0]["q2"]) == pytest.approx(1, abs=1e-6)


# --- Tables ---------------------------------------------------------------------------------------


def test_only_outcomes_that_are_asked_for_and_the_highest_stress(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, kind="latin_hypercube", samples=16, seed=1, outcomes=["von_mises_5mm3"])
    assert fabricate(study, tmp_path, _linear) == [], "the stiffness of the table is no outcome here"
    table = read_table(tmp_path / "design.csv")
    common = {"construct": "nail-10", "stage": "woven", "load": "axial", "unit": "MPa"}
    results = [
        Row(variant=row["variant"], quantity="von_mises_5mm3", location=part,
            value=float(row[KEYS[0]]) + more, **common)
        for row in table
        for part, more in (("nail", 0.0), ("bolt_1", 3.0))
    ]  # fmt: skip
    rows = sensitivity_rows(study, (), results)
    assert {row["location"] for row in rows} == {"nail", "bolt_1", "highest"}
    assert all(set(row) <= set(SENSITIVITY_COLUMNS) for row in rows)
    highest = [r["value"] for r in rows if r["location"] == "highest" and r["index"] == "S1"]
    assert highest == pytest.approx([1, 0, 0], abs=0.02)


def test_no_rows_without_a_design_or_where_factors_move_together(demo: dict[str, Any], tmp_path: Path):
    two = [{"key": key, "values": [400.0, 410.0]} for key in KEYS[:1]]
    assert fabricate(study_of(demo, kind="paired", factors=two), tmp_path, _linear_of_one) == []
    assert sensitivity_rows(parse_study(demo, "demo"), [], []) == []


def _linear_of_one(values: Values) -> float:
    return values[KEYS[0]]
