"""Designs: which points they have, which are left out, and the study of each."""

from __future__ import annotations

import time
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from SALib.sample import morris as salib_morris
from SALib.sample import sobol as salib_sobol
from scipy.stats import qmc

from geometries.errors import StudyError
from pipeline.study.config import parse_study
from pipeline.study.constraints import parse_constraint
from pipeline.study.keys import locate
from pipeline.sweeps.points import shares
from pipeline.sweeps.variants import points_of, variants_of
from tests.designs import KEYS, RANGES, factors, study_of

NAIL, PLATED = "constructs.nail-10.nail.diameter_mm", "constructs.nail-10-plate.nail.diameter_mm"
UNIT = {"num_vars": 3, "names": ["a", "b", "c"], "bounds": [[0, 1]] * 3}


def _refused(demo: dict[str, Any], **design: Any) -> str:
    with pytest.raises(StudyError) as caught:
        study_of(demo, **design)
    (line,) = str(caught.value).splitlines()
    return line


def _table(study: Any) -> np.ndarray:
    return np.array([[point.values[key] for key in KEYS] for point in points_of(study)])


# --- Points of each kind --------------------------------------------------------------------------


def test_a_study_without_design_is_its_only_variant(demo: dict[str, Any]):
    study = parse_study(demo, "demo")
    (only,) = variants_of(study)
    assert (only.name, only.point, only.study, only.reason) == ("", {}, study, "")


def test_a_grid_has_all_combinations(demo: dict[str, Any]):
    """Definition: the last factor runs fastest."""
    two = [{"key": NAIL, "values": [9.0, 11.0]}, {"key": "mesh.level", "values": ["coarse", "fine"]}]
    variants = variants_of(study_of(demo, kind="grid", factors=two))
    assert [(v.name, *v.point.values()) for v in variants] == [
        ("v001", 9.0, "coarse"), ("v002", 9.0, "fine"),
        ("v003", 11.0, "coarse"), ("v004", 11.0, "fine"),
    ]  # fmt: skip
    assert variants[3].study.mesh.level == "fine"
    assert variants[3].study.constructs[1].nail.diameter_mm == 11.0
    assert variants[3].study.constructs[4].nail.diameter_mm == 10.0
    assert all(variant.study.design is None for variant in variants)


def test_a_paired_design_takes_values_together(demo: dict[str, Any]):
    two = [
        {"key": NAIL, "values": [9.0, 11.0], "also": [PLATED]},
        {"key": KEYS[0], "values": [400, 440]},
    ]
    variants = variants_of(study_of(demo, kind="paired", factors=two))
    assert [tuple(v.point.values()) for v in variants] == [(9.0, 400), (11.0, 440)]
    assert [v.study.constructs[4].nail.diameter_mm for v in variants] == [9.0, 11.0]
    two[1]["values"].append(450)
    assert "2, 3 values" in _refused(demo, kind="paired", factors=two)


def test_one_at_a_time_starts_at_the_study_as_written(demo: dict[str, Any]):
    """The base is 430 mm and 10 mm; 10 mm in the list of values is no point of its own."""
    two = [{"key": KEYS[0], "low": 410.0, "high": 450.0}, {"key": NAIL, "values": [9.0, 10.0, 12.0]}]
    variants = variants_of(study_of(demo, kind="one_at_a_time", factors=two))
    points = [tuple(v.point.values()) for v in variants]
    assert points == [(430.0, 10.0), (410.0, 10.0), (450.0, 10.0), (430.0, 9.0), (430.0, 12.0)]
    assert variants[0].study == parse_study(demo, "demo")


def test_a_latin_hypercube_has_one_point_in_every_part(demo: dict[str, Any]):
    """Definition, McKay 1979: each of n equal parts of every range holds exactly one of n points."""
    table = _table(study_of(demo, kind="latin_hypercube", samples=17, seed=4))
    assert table.shape == (17, 3)
    for column, (low, high) in zip(table.T, RANGES, strict=True):
        parts = np.floor(17 * (column - low) / (high - low))
        assert sorted(parts) == list(range(17))


def test_a_sobol_sequence_is_that_of_scipy(demo: dict[str, Any]):
    """Source: scipy.stats.qmc, scrambled by the same seed and scaled by its own function."""
    table = _table(study_of(demo, kind="sobol_sequence", samples=16, seed=5))
    low, high = zip(*RANGES, strict=True)
    drawn = qmc.Sobol(3, seed=np.random.default_rng(5)).random_base2(4)
    assert table == pytest.approx(qmc.scale(drawn, low, high))


@pytest.mark.parametrize("kind", ["sobol_sequence", "sobol_indices"])
def test_the_sobol_sequence_wants_powers_of_two(demo: dict[str, Any], kind: str):
    line = _refused(demo, kind=kind, samples=12, seed=1)
    assert "powers of two; use 8 or 16" in line


def test_morris_points_are_those_of_salib(demo: dict[str, Any]):
    """Source: SALib with the same seed. Definition: one factor moves from each point to the next."""
    design = study_of(demo, kind="morris", trajectories=5, levels=6, seed=9).design
    drawn = shares(design)
    assert drawn == pytest.approx(salib_morris.sample(UNIT, 5, num_levels=6, seed=9))
    for trajectory in drawn.reshape(5, 4, 3):
        for before, after in pairwise(trajectory):
            assert np.count_nonzero(before != after) == 1
            assert np.abs(after - before).max() == pytest.approx(6 / (2 * 5))


def test_points_for_sobol_indices_are_those_of_salib(demo: dict[str, Any]):
    """Source: SALib with the same seed, second order off: n (d + 2) rows."""
    design = study_of(demo, kind="sobol_indices", samples=8, seed=9).design
    assert design.size == len(shares(design)) == 8 * 5
    assert shares(design) == pytest.approx(salib_sobol.sample(UNIT, 8, calc_second_order=False, seed=9))


def test_the_same_seed_gives_the_same_points(demo: dict[str, Any]):
    made = [_table(study_of(demo, kind="latin_hypercube", samples=9, seed=s)) for s in (1, 1, 2)]
    assert np.array_equal(made[0], made[1])
    assert not np.array_equal(made[0], made[2])


def test_steps_and_whole_numbers(demo: dict[str, Any]):
    stepped = {"key": KEYS[1], "low": 25.0, "high": 29.0, "step": 0.5}
    whole = {"key": "constructs.nail-10.nail.bolts.distal", "low": 1, "high": 3, "whole": True}
    words = {"key": "femur.preset", "values": ["average", "osteoporotic"]}
    study = study_of(demo, kind="latin_hypercube", samples=24, seed=1, factors=[stepped, whole, words])
    values = [tuple(point.values.values()) for point in points_of(study)]
    assert {v for v, *_ in values} <= {25 + k / 2 for k in range(9)}
    assert {repr(v) for _, v, _ in values} == {"1", "2", "3"}
    assert [v for *_, v in values].count("average") == 12, "listed values have equal shares"
    assert all(variant.study for variant in variants_of(study))


def test_names_sort_and_a_thousand_points_take_seconds(demo: dict[str, Any]):
    start = time.process_time()
    variants = variants_of(study_of(demo, kind="latin_hypercube", samples=1000, seed=1))
    assert time.process_time() - start < 5
    assert [v.name for v in variants] == [f"v{number:04d}" for number in range(1, 1001)]
    assert all(variant.study for variant in variants)


def test_a_point_that_is_not_valid_says_why(demo: dict[str, Any]):
    two = [{"key": "femur.canal_diameter_mm", "values": [10.0, 15.0, 20.0]}]
    good, thin, wide = variants_of(study_of(demo, kind="grid", factors=two))
    assert good.study
    assert not good.reason
    assert thin.study
    assert wide.study is None
    assert wide.reason.startswith("femur.canal_diameter_mm = 20.0: allowed 8 to 15")
    assert "\n" not in wide.reason


def test_designs_are_not_endless(demo: dict[str, Any]):
    many = [
        {"key": key, "values": [low + k for k in range(30)]}
        for key, (low, _) in zip(KEYS, RANGES, strict=True)
    ]
    line = _refused(demo, kind="grid", factors=many)
    assert "27000 points" in line
    assert "20000 or fewer" in line
    line = _refused(demo, kind="sobol_indices", samples=8192, seed=1, factors=factors(1))
    assert "24576 points" in line


# --- Keys -----------------------------------------------------------------------------------------


def test_an_entry_is_named_by_number_or_name(demo: dict[str, Any]):
    study = parse_study(demo, "demo")
    assert locate(study, NAIL) == locate(study, "constructs.1.nail.diameter_mm")
    assert locate(study, NAIL) == (("constructs", 1, "nail", "diameter_mm"), 10.0)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("constructs.nail-10.nail.diametre_mm", ["diametre_mm", "diameter_mm"]),
        ("constructs.nail-11.nail.diameter_mm", ["'nail-11'", "nail-10"]),
        ("constructs.nail-10.defect.gap_mm", ["no table for 'gap_mm'", "give the table"]),
        ("femur", ["can not vary"]),
        ("femur.length_mm.x", ["'x' is not there", "shorten"]),
        ("constructs.nail-10.name", ["can not vary"]),
        ("stages.9.modulus_mpa", ["'9' is not there"]),
        ("design.samples", ["can not vary"]),
        ("model_fields", ["is not there"]),
        ("femur.top_mm", ["is not there"]),
    ],
)
def test_keys_that_are_not_there(demo: dict[str, Any], key: str, words: list[str]):
    one = [{"key": key, "values": [1.0]}]
    line = _refused(demo, kind="latin_hypercube", samples=2, seed=1, factors=one)
    for word in [repr(key), *words]:
        assert word in line


def test_a_key_is_moved_once(demo: dict[str, Any]):
    two = [{"key": NAIL, "values": [9.0]}, {"key": "constructs.1.nail.diameter_mm", "values": [9.0]}]
    assert "more than once" in _refused(demo, kind="grid", factors=two)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"values": [1.0]}, "either values, or low and high"),
        ({"high": None}, "either values, or low and high"),
        ({"low": 500.0}, "less than high"),
        ({"step": 3.0}, "no multiple of the step 3"),
        ({"low": 400.5, "whole": True}, "no multiple of the step 1"),
        ({"step": -1.0}, "step = -1.0"),
        ({"low": None, "high": None, "values": [1.0, 1.0]}, "more than once"),
        ({"low": None, "high": None, "values": [float("nan")]}, "allowed a number"),
        ({"low": None, "high": None, "values": [[1.0]]}, "a word, true or false"),
        ({"colour": 1}, "unknown key"),
    ],
)
def test_factors_that_are_none(demo: dict[str, Any], change: dict[str, Any], words: str):
    broken = {key: v for key, v in (factors(1)[0] | change).items() if v is not None}
    line = _refused(demo, kind="latin_hypercube", samples=2, seed=1, factors=[broken])
    assert words in line
    assert line.startswith("demo: design.factor 'femur.length_mm': "), "the kind is no key of the file"


@pytest.mark.parametrize("kind", ["grid", "paired"])
def test_lists_where_limits_make_no_sense(demo: dict[str, Any], kind: str):
    assert "list its values" in _refused(demo, kind=kind)


def test_morris_wants_limits(demo: dict[str, Any]):
    one = [{"key": NAIL, "values": [9.0, 10.0]}]
    assert "give low and high" in _refused(demo, kind="morris", trajectories=4, seed=1, factors=one)


def test_outcomes_are_quantities(demo: dict[str, Any]):
    line = _refused(demo, kind="morris", trajectories=4, seed=1, outcomes=["axial_stifness"])
    assert "axial_stiffness" in line


# --- Constraints ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("a.x-1.y + 1 <= b.z", True),  # 2 + 1 <= 3
        ("a.x-1.y + 1 < b.z", False),
        ("a.x-1.y - 5 == -b.z", True),
        ("2*a.x-1.y >= (b.z + 1) * 1.5 - 2", True),  # 4 >= 4
        ("1 + 2 * b.z != 9", True),  # product before sum
        ("-a.x-1.y / 4 > -0.6", True),
        ("b.z-1 < 9", None),  # a key of another name
    ],
)
def test_constraints_compare(text: str, holds: bool | None):
    """Definition: plain arithmetic, worked by hand."""
    constraint = parse_constraint(text)
    if holds is None:
        assert constraint.keys == ("b.z-1",)
    else:
        assert constraint.holds({"a.x-1.y": 2.0, "b.z": 3.0}) is holds


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os')", "__import__('os') < 3", "().__class__ < 1", "a.b", "a.b + 1", "a.b < 1 < 2",
        "a.b ** 2 < 1", "a.b if a.b else 1 < 2", "[a.b] < 1", "a.b < True", "a.b < 1j", "lambda: 0",
        "f(a.b) < 1", "a.b[0] < 1", "a.b < 1 and a.b > 0", "not a.b < 1", "a.b // 2 < 1", "(x:=3) < 1",
        "a.b < 1; import os", "a.b < 1\nimport os", "a.b is 1", "a.b in 1", "", " ", "<", "(" * 199,
        "~1 < a.b", "f'{a.b}' < 1", "a.b <\0 1", "a < 1", "b'x' < 1", "... < 1", "None < 1",
    ],
)  # fmt: skip
def test_constraints_are_nothing_else(demo: dict[str, Any], text: str):
    with pytest.raises(StudyError, match="allowed is one comparison"):
        parse_constraint(text)
    assert "constraints" in _refused(
        demo, kind="latin_hypercube", samples=2, seed=1, constraints=[text]
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("femur.length < 3", "'femur.length'"),
        ("'os' < 1", "'os' is not there"),
        ("femur.length_mm-1 < 3", "a minus sign between keys stands in spaces"),
        ("constructs.nail-10.nail.canal < 3", "'contact', allowed numbers"),
        ("stages.woven.modulus_mpa < 3", "None, allowed numbers"),
        ("femur.length_mm.__class__ < 3", "'__class__' is not there"),
    ],
)
def test_constraints_of_keys_that_are_no_numbers(demo: dict[str, Any], text: str, words: str):
    assert words in _refused(demo, kind="latin_hypercube", samples=2, seed=1, constraints=[text])


def test_points_that_break_a_constraint_are_left_out(demo: dict[str, Any]):
    """A key that does not vary has the value of the file; another spelling is the same key."""
    two = [
        {"key": NAIL, "values": [9.0, 10.0, 11.0, 12.0]},
        {"key": "defect.gap_mm", "values": [2.0, 4.0]},
    ]
    limits = ["constructs.1.nail.diameter_mm + 0.5 <= femur.canal_diameter_mm", "defect.gap_mm > 3"]
    study = study_of(demo, kind="grid", factors=two, constraints=limits)
    points = [(point.name, *point.values.values()) for point in points_of(study)]
    assert points == [("v001", 9.0, 4.0), ("v002", 10.0, 4.0)]
    nothing = study_of(demo, kind="grid", factors=two, constraints=["defect.gap_mm > 9"])
    with pytest.raises(StudyError, match="none of 8 points"):
        variants_of(nothing)


def test_a_constraint_that_divides_by_zero_says_so(demo: dict[str, Any]):
    study = study_of(
        demo, kind="latin_hypercube", samples=2, seed=1, constraints=["femur.length_mm / 0 < 1"]
    )
    with pytest.raises(StudyError, match="divides by 0"):
        variants_of(study)


@pytest.mark.parametrize(
    "kind", [{"kind": "morris", "trajectories": 4}, {"kind": "sobol_indices", "samples": 4}]
)
def test_designs_that_need_every_point_take_no_constraints(demo: dict[str, Any], kind: dict[str, Any]):
    line = _refused(demo, seed=1, constraints=["femur.length_mm < 430"], **kind)
    assert "remove them or choose latin_hypercube" in line
