"""The shaft's stiffness beside six real ones, as the plan prints it and a run keeps it."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from geometries.bone import Femur
from pipeline.cli.shown import plan as shown
from pipeline.measures.literature import SIX_FEMORA
from pipeline.run.collect import write_beside
from pipeline.run.planning import plan
from pipeline.storage.files import read_table
from pipeline.study.config import load_study
from pipeline.tables.shaft import SHAFT_COLUMNS, shaft_rows

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"


def test_every_level_stands_beside_the_six():
    # Definition; the mid-shaft numbers by hand, see test_parameters.
    rows = shaft_rows(Femur())
    assert all(tuple(row) == SHAFT_COLUMNS for row in rows)
    assert [row["percent"] for row in rows] == [percent for percent in SIX_FEMORA for _ in range(4)]
    middle = {row["what"]: row for row in rows if row["percent"] == 50}
    torsion = middle["torsion GJ"]
    assert (torsion["lowest"], torsion["highest"], torsion["unit"]) == (110, 274, "N·m²")
    assert torsion["model"] == pytest.approx(167, abs=1)
    sagittal, frontal = (middle[f"bending EI, {plane}"] for plane in ("sagittal", "frontal"))
    assert sagittal["model"] == frontal["model"] == pytest.approx(429, abs=1)
    assert (sagittal["lowest"], frontal["highest"]) == (262, 537)


def test_a_run_keeps_the_shaft_of_each_variant(tmp_path: Path):
    study = load_study(DEMO, ("femur.preset=osteoporotic",))
    write_beside(plan(study), [], tmp_path)
    found = read_table(tmp_path / "shaft.csv")
    assert tuple(found[0]) == ("variant", *SHAFT_COLUMNS)
    middle = next(row for row in found if (row["percent"], row["what"]) == ("50", "torsion GJ"))
    assert float(middle["model"]) < float(middle["lowest"])  # weaker than any of the six


def test_the_plan_prints_it_within_80_columns(monkeypatch: pytest.MonkeyPatch):
    written = StringIO()
    monkeypatch.setattr("pipeline.cli.console.console", Console(width=80, file=written))
    shown._print_shaft(Femur())
    printed = written.getvalue()
    assert all(len(line) <= 80 for line in printed.splitlines())
    row = next(line.split() for line in printed.splitlines() if "│   50" in line)
    assert " ".join(row) == "│ 50 │ 429 │ 247 to 873 │ 167 │ 110 to 274 │ 8.0 │ 6.5 to 9.5 │"
    assert "Profico" in printed
