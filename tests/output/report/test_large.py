"""The page of a large study stays small, and what it leaves out it says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.measures.dictionary import HEADLINE
from pipeline.output.report import kept
from pipeline.output.report import page as pages
from pipeline.output.report.run import ReportedRun
from pipeline.output.report.tables import listed_results
from pipeline.output.tables import COLUMNS
from pipeline.storage.files import read_table
from tests.made import row_of, write_run
from tests.output.report.large import write_large
from tests.output.report.made_up import rows_of, study_of
from tests.output.report.reading import Made, Page, made

MOST_BYTES = 20_000_000  # asked for in the brief of the report


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Twelve points, each with what one of 250 has."""
    return write_large(tmp_path_factory.mktemp("large"), points=12)


@pytest.mark.slow
def test_the_page_of_500_cases_is_under_20_megabytes(tmp_path: Path):
    study, out = write_large(tmp_path)
    listed = read_table(out / "cases.csv")
    assert sum(not case["construct"].startswith("intact") for case in listed) == 500
    assert len(made((study, out)).encode()) < MOST_BYTES


def test_a_design_is_shown_with_its_failures_flags_errors_and_indices(large: Made):
    """One of 17 cases fails, by number: 36 cases, so those of number 16 and 33."""
    page = Page(made(large))
    text = page.text
    assert "34 ok, 2 failed" in text
    for words in ("nail diameter", "would touch the canal", "± is the error", "cells turned over"):
        assert words in text
    order = [one.get("id") or one.get("alt", "") for _, one in page.tags]
    sheets = [k for k, words in enumerate(order) if words.startswith("How the results of ")]
    assert sheets
    assert min(sheets) > order.index("sheets") > order.index("origin"), "sheets of paper come last"
    assert "#sheets" in [one.get("href") for one in page.every("a")]


def test_rows_that_the_page_does_not_show_are_not_kept(large: Made, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(kept, "MOST_ROWS", 10)
    run, table = ReportedRun(*large), read_table(large[1] / "results.csv")
    assert run.kept.count == len(table)
    assert len(run.results) < 0.2 * len(table)
    assert all(entry.row == table[entry.number] for entry in run.results)
    own = [row for row in table if row["variant"] == "v001"]
    assert [entry.row for entry in run.first] == own  # definition: flags and checks are of all these
    failed = [row for row in table if row["status"] != "ok"]
    assert [entry.row for entry in run.results if entry["status"] != "ok"] == failed
    asked = (run.study.asked.quantity, run.study.asked.stage, run.study.asked.load)
    answers = [row for row in table if (row["quantity"], row["stage"], row["load"]) == asked]
    assert len({row["variant"] for row in answers}) == 12
    assert [entry.row for entry in run.results if entry.number >= 10 and entry.row in answers] == [
        row for number, row in enumerate(table) if number >= 10 and row in answers
    ]


@pytest.mark.parametrize("most", [1, 40, 400, 1200, 3000])
def test_the_table_lists_what_it_would_if_all_rows_were_kept(
    large: Made, monkeypatch: pytest.MonkeyPatch, most: int
):
    """Definition: the widest of three listings that fits, else the first rows of the narrowest."""
    study, out = large
    table = read_table(out / "results.csv")
    main = {(column.quantity, column.location) for column in COLUMNS}
    main |= {(quantity, "near") for quantity, at in main if at == "far"}
    lost = [row["status"] != "ok" for row in table]
    wide = [row["quantity"] in HEADLINE or lost[k] for k, row in enumerate(table)]
    fewer = [
        wide[k] and (lost[k] or row["quantity"][:9] == "von_mises"
                     or (row["quantity"], row["location"]) in main)
        for k, row in enumerate(table)
    ]  # fmt: skip
    own = (study.shown[0], "intact", "")
    least = [fewer[k] and row["stage"] in own for k, row in enumerate(table)]
    monkeypatch.setattr(kept, "MOST_ROWS", most)
    monkeypatch.setattr("pipeline.output.report.tables.MOST_ROWS", most)
    run = ReportedRun(study, out)
    fitting = next((one for one in (wide, fewer, least) if sum(one) <= most), least)
    places = [
        k for k, is_in in enumerate(fitting if len(table) > most else [True] * len(table)) if is_in
    ]
    places.sort(key=lambda k: run.order(table[k]["construct"]))
    assert [entry.number for entry in listed_results(run)[0]] == places[:most]


def test_large_cases_are_not_read_again(
    demo: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    study = study_of(demo)
    out = write_run(tmp_path / "out", study, rows_of())
    states = ("<td>whole</td>", "<td>not read again</td>")
    assert [made((study, out)).count(state) for state in states] == [3, 0]
    whole = sum(file.stat().st_size for file in (out / "cases").rglob("*") if file.is_file())
    monkeypatch.setattr(pages, "MOST_PROVED", whole - 1)
    assert [made((study, out)).count(state) for state in states] == [2, 1]


def test_a_long_list_of_pairs_is_cut_and_says_so(demo: dict[str, Any], tmp_path: Path):
    """Forty constructs make 40 × 39 / 2 = 780 pairs, 500 of which are shown: by hand."""
    shear = ("gap_shear_movement", "far", "mm")
    rows = [row_of(f"nail-{n}", shear, 1.0 + 0.1 * n) for n in range(40)]
    study = study_of(demo)
    page = Page(made((study, write_run(tmp_path / "out", study, rows))))
    assert "… and 280 more pairs." in page.text
