"""The orchestrator, with a stand-in for workers: what it hands on, in which order, how often."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipeline.measures.plausibility import BY_ENERGY
from pipeline.run.execute import Options, execute
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan, plan
from pipeline.run.record import CASE_COLUMNS
from pipeline.storage.casebook import ROWS, SUMMARY, case_folder
from pipeline.storage.files import write_json, write_table
from pipeline.study.config import parse_study
from pipeline.tables.rows import Row, read_results

CELLS = {"fine": 64_000, "default": 8_000, "coarse": 1_000}
STIFF = "torsional_stiffness"


@pytest.fixture
def plated() -> Plan:
    """A nail, and a plate over the same nail, over an empty gap and over woven bone."""
    study = {
        "schema_version": 1, "title": "t", "mesh": {"level": "default"},
        "stages": [{"name": "empty"}, {"name": "woven"}],
        "loads": [{"kind": "torsion", "name": "twist", "moment_nm": 1.0}],
        "constructs": [
            {"kind": "nail_plate", "name": "both", "nail": {"diameter_mm": 10.0}},
            {"kind": "nail", "name": "bare", "nail": {"diameter_mm": 10.0}},
        ],
    }  # fmt: skip
    return plan(parse_study(study, "t"))


class Workers:
    """Stores rows in place of solving, and ends the cases in the order that the study has not."""

    def __init__(self, rows: Any) -> None:
        self.rows = rows

    def __call__(self, planned: Plan, out: Path, *_: object) -> Iterator[Outcome]:
        for case in reversed(planned.cases):
            with case_folder(out, case.address) as folder:
                cells = [row.cells() for row in self.rows(case.name, case.level)]
                write_table(folder / ROWS, cells, CASE_COLUMNS)
                facts = {"facts": {"cells": CELLS[case.level]}, "seconds": {}, "failed_stages": {}}
                write_json(folder / SUMMARY, facts | {"kind": "specimen", "parts": []})
            yield Outcome(case, "", 1.0)


def stiffness(name: str, level: str) -> Iterator[Row]:
    """The plate makes the nail ten times as stiff, which no test ever found; by energy too."""
    value = {"both": 20.0, "bare": 2.0}.get(name, 30.0) * {"fine": 1.0, "default": 1.01}.get(
        level, 1.04
    )
    for quantity in (STIFF, STIFF + BY_ENERGY):
        common = {"load": "twist", "quantity": quantity, "location": "sections"}
        if name.startswith("intact"):
            yield Row(stage="intact", value=value, **common)
            continue
        if name == "bare":  # without proximal bolts it would turn freely over an empty gap
            yield Row(stage="empty", load="twist", status="failed", reason="a mechanism")
            yield Row(stage="woven", value=value, **common)
            continue
        yield Row(stage="empty", value=value, **common)
        yield Row(stage="woven", value=value, **common, status="failed", reason="forces do not balance")


def run(
    planned: Plan, out: Path, monkeypatch: pytest.MonkeyPatch, rows: Any, **options: Any
) -> list[Row]:
    monkeypatch.setattr("pipeline.run.execute.complete", Workers(rows))
    execute(planned, out, Options(**{"pages": False, **options}))
    return list(read_results(out / "results.csv"))


def test_a_plate_whose_nail_failed_is_not_judged_after_three_levels(
    plated: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Its percentage is not there, nor that of a row whose balance failed: neither is a number."""
    sample = tuple(case.label for case in plated.cases)
    rows = run(plated, tmp_path, monkeypatch, stiffness, sample=sample)
    both = {(row.stage, row.quantity): row for row in rows if row.construct == "both"}
    assert both["empty", STIFF].percent_of_nail_only is None
    assert both["empty", STIFF].flags == ""
    assert both["empty", STIFF].mesh.startswith("three meshes: converging")
    assert both["woven", STIFF].percent_of_nail_only is None


def sound(name: str, level: str) -> Iterator[Row]:
    """The same with every stage solved."""
    for row in stiffness(name, level):
        if row.quantity:
            yield replace(row, status="ok", reason="")
            if name == "bare":
                yield replace(row, stage="empty", status="ok", reason="")


@pytest.mark.parametrize("levels", [1, 3])
def test_a_doubt_about_a_plate_is_said_once(
    plated: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, levels: int
):
    sample = tuple(case.label for case in plated.cases) if levels == 3 else ()
    rows = run(plated, tmp_path, monkeypatch, sound, sample=sample)
    (row,) = (r for r in rows if (r.construct, r.stage, r.quantity) == ("both", "empty", STIFF))
    assert row.percent_of_nail_only == pytest.approx(1000)
    assert row.flags.count("times the same nail alone") == 1


def test_all_that_follows_keeps_the_order_of_the_study(
    plated: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Cases end in another one: pictures, tables and the first variant must not follow that."""
    drawn: list[str] = []
    monkeypatch.setattr("pipeline.run.execute.draw_study", lambda _, names, *__: drawn.extend(names))
    for page in ("draw_indices", "credibility_page", "report_page"):
        monkeypatch.setattr(f"pipeline.run.execute.{page}", lambda *_: None)
    rows = run(plated, tmp_path, monkeypatch, sound, pages=True)
    names = [case.name for case in plated.cases]
    assert names[-2:] == ["both", "bare"]
    added = len(names) - len(plated.study.constructs)
    assert added > 0
    assert drawn == [*names[added:], *names[:added]]  # as the report lists them
    assert list(dict.fromkeys(row.construct for row in rows)) == names


def test_other_levels_have_tables_of_their_own(
    plated: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    run(plated, tmp_path, monkeypatch, sound, sample=("both",))
    fine = list(read_results(tmp_path / "levels" / "fine" / "results.csv"))
    assert {row.construct for row in fine} == {"both"}
    assert {row.value for row in fine} == {20.0}
