"""A row of results: what an empty cell means, and which rows are the first variant's."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometries.errors import StudyError
from pipeline.tables.rows import NUMBERS, OK, Row, first_variant, parse, read_results, write_results

WHOLE = Row(
    construct="plate", gap_mm=3.0, stage="woven", load="twist", quantity="torsional_stiffness",
    location="sections", value=0.0, unit="N·m/deg", error=0.0, flags="a; b", place=0,
)  # fmt: skip
LOST = Row(construct="plate", status="failed", reason="no mesh", place=1)


def test_a_row_is_read_as_it_was_written_and_zero_is_not_nothing(tmp_path: Path):
    write_results(tmp_path, [WHOLE, LOST])
    assert list(read_results(tmp_path / "results.csv")) == [WHOLE, LOST]


def test_a_cell_that_is_empty_or_not_there_is_no_number():
    for cells in ({}, dict.fromkeys(NUMBERS, "")):
        row = parse({"status": OK, **cells})
        assert {getattr(row, name) for name in NUMBERS} == {None}
    with pytest.raises(ValueError, match="there is no value"):
        _ = row.number


def test_a_row_that_does_not_say_that_it_is_sound_is_not():
    assert parse({"status": "ok"}).is_ok
    for cells in ({}, {"status": ""}, {"status": "failed"}):
        assert not parse(cells).is_ok


def test_what_is_no_number_is_refused_with_its_place(tmp_path: Path):
    write_results(tmp_path, [WHOLE])
    path = tmp_path / "results.csv"
    path.write_text(path.read_text().replace("sections,0,", "sections,much,"))
    with pytest.raises(StudyError, match=r"results\.csv: value = 'much': allowed is a number"):
        list(read_results(path))


def test_the_first_variant_is_the_first_in_the_table():
    rows = [Row(variant=variant, place=k) for k, variant in enumerate(("v2", "v2", "v1", "v2"))]
    assert [row.place for row in first_variant(rows)] == [0, 1, 3]
