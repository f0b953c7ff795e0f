"""Sections of the page that not every run has: published measurements, bounds of an interface."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.output.report.run import ReportedRun
from pipeline.storage.files import read_table
from tests.made import row_of, write_run
from tests.output.report.made_up import ENDS, bounded_rows, rows_of, study_of, write_set_beside
from tests.output.report.reading import Made, Page, made


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> Made:
    return write_set_beside(demo, tmp_path / "out", [*rows_of(), *bounded_rows()])


@pytest.fixture
def page(run: Made) -> Page:
    return Page(made(run))


def printed(page: Page, table: str) -> dict[tuple[int, str], str]:
    return {
        (int(found["data-row"]), found["data-col"]): text
        for found, text in page.cells
        if found["data-table"] == table
    }


@pytest.mark.parametrize("name", ["published", "brackets"])
def test_every_cell_is_that_of_its_table(page: Page, run: Made, name: str):
    rows, cells = read_table(run[1] / f"{name}.csv"), printed(page, name)
    assert {number for number, _ in cells} == set(range(len(rows)))
    for (number, column), text in cells.items():
        raw = rows[number][column]
        try:
            value = pytest.approx(float(raw), rel=5e-3)  # definition of three digits
        except ValueError:
            assert text == " ".join(raw.split())
            continue
        assert float(text.replace("\N{MINUS SIGN}", "-")) == value


def test_a_measurement_stands_beside_the_result(page: Page):
    """10397.6 N/mm lies within 9123.4 ± 2000, and 13178.2 is more than it: by hand."""
    cells = printed(page, "published")
    shown = [cells[0, name] for name in ("model", "measured", "spread", "ratio", "standing")]
    assert shown == ["10398", "9123", "2000", "1.14", "inside the spread"]
    assert (cells[1, "measured"], cells[1, "standing"]) == ("more", "same direction")
    assert "No result: nail-10 has load_point_stiffness under hip at: load_point; correct" in page.text
    assert "Nothing passes or fails" in page.text


def test_bounds_name_their_ends_and_errors(page: Page):
    """Least 0.2719 with 5 % of it, most 1.8171 with 4 %, apart by 1.5452: by hand."""
    cells = printed(page, "brackets")
    assert [cells[0, name] for name in ("lowest", "lowest_error", "lowest_with")] == [
        "0.272", "0.0136", "canal bonded",
    ]  # fmt: skip
    assert [cells[0, name] for name in ("highest", "highest_error", "span")] == [
        "1.82", "0.0727", "1.55",
    ]  # fmt: skip


def test_a_singular_bound_has_no_number(demo: dict[str, Any], tmp_path: Path):
    """Definition: as in all tables; an end that is sound keeps its number, the span does not."""
    bad = {"mesh": "three meshes: singular, do not quote", "error": ""}
    rows = [row | bad if row["construct"] == "own-bonded" else row for row in bounded_rows()]
    page = Page(made(write_set_beside(demo, tmp_path / "out", [*rows_of(), *rows])))
    cells = printed(page, "brackets")
    assert {"lowest", "span"}.isdisjoint(name for _, name in cells)
    assert (cells[0, "highest"], cells[0, "singular"]) == ("1.82", "canal bonded")
    assert "singular, not to be quoted, with canal bonded" in page.text


def test_constructs_at_bounds_stand_where_the_study_has_theirs(demo: dict[str, Any], tmp_path: Path):
    """Definition: in the order of the study file, the femur that the run adds behind all others."""
    added = row_of("intact-metadiaphysis-3mm", ("gap_shear_movement", "far", "mm"), 0.1)
    rows = [added, *reversed(bounded_rows()), *rows_of()]
    study, out = write_set_beside(demo, tmp_path / "out", rows)
    names = ReportedRun(study, out).constructs
    assert names[-4:] == ["own-void", "own-filler", "own-bonded", "intact-metadiaphysis-3mm"]
    assert study.in_order(reversed(names)) == names


def test_both_tables_can_be_sorted(page: Page):
    classes = [found.get("class", "") for found in page.every("table")]
    assert sum("sorts" in one.split() for one in classes) == 2


def test_without_the_tables_there_are_no_such_sections(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo)
    page = Page(made((study, write_run(tmp_path / "out", study, rows_of()))))
    assert not {"published", "brackets"} & {found.get("id") for _, found in page.tags}
    assert not {"#published", "#brackets"} & {found.get("href") for _, found in page.tags}


def test_a_flagged_bound_says_so(run: Made):
    path = run[1] / "brackets.csv"
    head, row = path.read_text(encoding="utf-8").splitlines()
    assert head.endswith(",flags")
    assert row.endswith(",")
    assert "nail touches" not in made(run)
    path.write_text(f"{head}\n{row}lowest: nail touches\n", encoding="utf-8")
    page = Page(made(run))
    flags = [one["data-flags"] for one in page.every("a") if one.get("class") == "flag"]
    assert flags.count("lowest: nail touches") == 1


def test_bounds_are_those_of_the_shown_variant(run: Made):
    path = run[1] / "brackets.csv"
    text = path.read_text(encoding="utf-8")
    head, row = text.splitlines()
    path.write_text(f"{head}\nv002{row.replace('0.2719', '9.9999')}\n{row}\n", encoding="utf-8")
    cells = printed(Page(made(run)), "brackets")
    assert {number for number, _ in cells} == {1}  # definition: the study's own has no name


def test_a_long_table_of_bounds_keeps_the_main_results(demo: dict[str, Any], tmp_path: Path):
    more = [
        row_of(name, ("tissue_pressure", f"p{n}", "MPa"), 0.1 * n + value)
        for n in range(7)
        for name, (value, _) in ENDS.items()
    ]
    page = Page(made(write_set_beside(demo, tmp_path / "out", [*rows_of(), *more, *bounded_rows()])))
    assert "1 of 8 rows; brackets.csv beside this page has all." in page.text
    assert {number for number, _ in printed(page, "brackets")} == {7}
