"""Differences that exceed the errors, and those that do not: none of them is ranked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipeline.measures.columns import COLUMNS
from pipeline.measures.dictionary import BY_SIZE, HEADLINE, QUANTITIES
from pipeline.run.collect import references, write_tables
from pipeline.run.planning import Plan, Planned, cases
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from pipeline.sweeps.variants import variants_of
from pipeline.tables.comparisons import (
    COMPARISON_COLUMNS,
    comparison_rows,
    headline_rows,
    relate,
    verdict,
)
from pipeline.tables.rows import COLUMNS as RESULT_COLUMNS
from pipeline.tables.rows import Row

GAPS = {"nail": "mid", "plate": "mid", "distal": "low"}


COMMON: dict[str, Any] = {
    "site": "mid-shaft", "gap_mm": 3.0, "stage": "woven", "load": "twist",
    "quantity": "torsional_stiffness", "location": "sections", "unit": "N·m/deg",
}  # fmt: skip


def row(construct: str, value: float, error: float | None = None, **other: Any) -> Row:
    """A sound row: torsional stiffness unless told otherwise."""
    return Row(construct=construct, value=value, error=error, **(COMMON | other))


def compared(*rows: Row) -> list[dict[str, object]]:
    return list(comparison_rows(rows, GAPS))


@pytest.mark.parametrize(
    ("other", "error", "said"),
    [
        # 2.00 +- 2 % is 0.04; the other's error is 0.0294 or less: in sum 0.07 at most.
        (2.1, 1.4, "a lower"),
        (1.9, 1.4, "a higher"),
        (2.06, 1.4, "undecided"),
        (1.94, 1.4, "undecided"),
        (2.1, 3.5, "undecided"),
        (9.0, None, "unknown error"),
    ],
)
def test_a_difference_counts_only_beyond_both_errors_in_sum(
    other: float, error: float | None, said: str
):
    (found,) = compared(row("nail", 2.0, 2), row("plate", other, error))
    assert tuple(sorted(found)) == tuple(sorted(COMPARISON_COLUMNS))
    assert (found["a"], found["b"], found["verdict"]) == ("nail", "plate", said)
    assert found["difference"] == pytest.approx(other - 2.0)
    assert found["difference_percent"] == pytest.approx(100 * (other - 2.0) / 2.0)
    if error:
        assert found["combined_error"] == pytest.approx(0.04 + other * error / 100)
    else:
        assert found["combined_error"] == ""


def test_a_difference_of_just_the_errors_is_undecided():
    assert verdict(0.5, 0.5) == verdict(-0.5, 0.5) == verdict(0.0, 0.0) == "undecided"


def test_only_constructs_of_one_gap_and_results_of_one_kind_are_compared():
    rows = [row("nail", 2.0, 1), row("plate", 3.0, 1), row("distal", 4.0, 1), row("bench", 5.0, 1)]
    assert [(one["a"], one["b"]) for one in compared(*rows)] == [("nail", "plate")]
    for other in ({"stage": "x"}, {"load": "x"}, {"location": "x"}, {"quantity": "axial_stiffness"}):
        assert compared(row("nail", 2.0, 1), row("plate", 3.0, 1, **other)) == []
    assert compared(row("nail", 2.0, 1), row("plate", 3.0, 1, status="failed")) == []
    assert compared(*(row(one, 2.0, quantity="section_torque") for one in ("nail", "plate"))) == []


def test_what_closes_is_compared_by_its_size_and_unlike_signs_are_said():
    movement = {"quantity": "gap_axial_movement", "location": "far"}
    found = compared(row("nail", -0.9, 1, **movement), row("plate", -0.4, 1, **movement))[0]
    assert (found["a_value"], found["b_value"], found["compared_by"]) == (-0.9, -0.4, "size")
    assert found["difference"] == pytest.approx(-0.5)
    assert found["verdict"] == "a higher"
    found = compared(row("nail", -0.9, 1, **movement), row("plate", 0.9, 1, **movement))[0]
    assert (found["verdict"], found["compared_by"]) == ("undecided", "size, of unlike sign")
    found = compared(row("nail", -2.0, 1), row("plate", 3.0, 1))[0]
    assert (found["verdict"], found["compared_by"]) == ("a lower", "value, of unlike sign")


def test_flags_of_both_stand_beside_the_verdict():
    found = compared(row("nail", 2.0, 1, flags="far too soft"), row("plate", 3.0, 1, flags="pulled"))
    assert found[0]["flags"] == "a: far too soft; b: pulled"


def stress(construct: str, location: str, value: float, error: float | None) -> Row:
    return row(construct, value, error, quantity="von_mises_5mm3", location=location)


def test_the_highest_stress_is_compared_with_an_error_that_covers_every_part():
    # The nail has 400 +- 8, its bolt 390 +- 78: the highest of both may be 468, and not under 392.
    rows = [stress("nail", "nail", 400, 2), stress("nail", "bolt_1", 390, 20)]
    (highest,) = headline_rows(rows)[2:]
    assert (highest.location, highest.part) == ("highest", "nail")
    assert highest.error == pytest.approx(100 * 68 / 400)
    (found,) = compared(*rows, stress("plate", "plate", 460, 1))
    assert (found["location"], found["verdict"]) == ("highest", "undecided")
    assert found["combined_error"] == pytest.approx(68 + 4.6)
    (found,) = compared(rows[0], replace(rows[1], error=None), stress("plate", "plate", 4000, 1))
    assert found["verdict"] == "unknown error"


REFERENCES = {
    "percent_of_intact": {"intact": "intact", "nail": "intact", "plate": "intact"},
    "percent_of_nail_only": {"nail": "nail", "plate": "nail"},
}


@pytest.mark.parametrize(
    ("value", "error", "doubts"),
    [
        (4.0, 1, ""),
        (2.05, 2, "percent_of_nail_only"),
        (9.9, 1, "percent_of_intact"),
        (4.0, None, "percent_of_intact (unknown error); percent_of_nail_only (unknown error)"),
    ],
)
def test_a_percentage_within_the_errors_of_100_is_named(value: float, error: float | None, doubts: str):
    table = [
        row("intact", 10.0, 1, stage="intact"),
        row("nail", 2.0, 1),
        row("plate", value, error),
    ]
    intact, nail, plate = relate(table, REFERENCES)
    assert plate.percent_of_intact == pytest.approx(10 * value)
    assert plate.percent_of_nail_only == pytest.approx(50 * value)
    assert plate.undecided == doubts
    assert (nail.undecided, intact.undecided) == ("", "")  # nothing is compared with itself


def test_the_tables_pair_constructs_by_their_whole_gap(tmp_path: Path, demo: dict[str, Any]):
    """Two sites have one name, mid-shaft, and are yet two gaps."""
    demo["constructs"][2]["defect"] = {"site_percent": 47.0}
    study = parse_study(demo, "demo")
    listed = cases(study)
    table = relate([row(one.name, 2.0 + k, 1) for k, one in enumerate(listed)], references(listed))
    items = tuple(Planned(case, {}, "", {}, {}, frozenset()) for case in listed)
    write_tables(Plan(study, variants_of(study), items), [], table, tmp_path)
    pairs = {(one["a"], one["b"]) for one in read_table(tmp_path / "comparisons.csv")}
    assert ("nail-10", "plate") in pairs
    assert not [pair for pair in pairs if "exchange-nail-12" in pair and "nail-10" in pair]
    assert tuple(read_table(tmp_path / "results.csv")[0]) == RESULT_COLUMNS


def test_the_dictionary_says_what_is_compared_and_how():
    assert set(BY_SIZE) <= set(HEADLINE) <= set(QUANTITIES)
    assert not set(QUANTITIES) & set(COLUMNS)
    assert set(COLUMNS) <= {*RESULT_COLUMNS, *COMPARISON_COLUMNS}
    assert all(name in COLUMNS["difference"].definition for name in BY_SIZE)


def test_nothing_is_a_percentage_of_what_symmetry_makes_nil():
    """By hand: 1 mm of shear over 1e-5 mm of an intact bone that shears by 0.02 mm elsewhere."""
    what = {"quantity": "gap_shear_movement", "unit": "mm"}
    table = [
        row("intact", 1e-5, **what, location="far"), row("intact", 0.02, **what, location="near"),
        row("nail", 1.0, **what, location="far"), row("nail", 1.0, **what, location="near"),
    ]  # fmt: skip
    found = relate(table, {"percent_of_intact": {"nail": "intact"}})
    shares = {(one.construct, one.location): one.percent_of_intact for one in found}
    assert shares["nail", "near"] == pytest.approx(5000)
    assert shares["nail", "far"] is None
