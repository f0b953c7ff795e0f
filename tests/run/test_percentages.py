"""Percentages: each construct against the femur, and the nail, at its own gap."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.run.collect import related, rows_of
from pipeline.run.jobs import Outcome
from pipeline.run.planning import cases
from pipeline.run.record import CASE_COLUMNS
from pipeline.storage.casebook import case_folder
from pipeline.storage.files import write_table
from pipeline.study.config import parse_study

# Of each construct of the demo: its stage and a stiffness that nobody computed.
STORED = {
    "intact": ("intact", 20.0),
    "intact-metadiaphysis-3mm": ("intact", 50.0),
    "nail-10": ("atrophic", 2.0),
    "nail-10-plate": ("atrophic", 8.0),
    "nail-10-distal": ("atrophic", 5.0),
}


def test_a_construct_is_compared_with_what_stands_at_its_own_gap(tmp_path: Path, demo: dict[str, Any]):
    # By hand: 2, 8 of 20 at mid-shaft, 5 of 50 at the other site; the plate over the nail 8 of 2.
    chosen = {case.name: case for case in cases(parse_study(demo, "demo"))}
    for name, (stage, value) in STORED.items():
        with case_folder(tmp_path, chosen[name].address) as folder:
            row = {"stage": stage, "load": "torsion", "quantity": "torsional_stiffness",
                   "location": "sections", "value": value, "status": "ok"}  # fmt: skip
            write_table(folder / "rows.csv", [row], CASE_COLUMNS)
    outcomes = [Outcome(chosen[name], "", 1.0) for name in STORED]
    rows = related(rows_of(outcomes, tmp_path), [one.case for one in outcomes])
    found = {row.construct: (row.percent_of_intact, row.percent_of_nail_only) for row in rows}
    assert found == {
        "intact": (pytest.approx(100), None),
        "intact-metadiaphysis-3mm": (pytest.approx(100), None),
        "nail-10": (pytest.approx(10), pytest.approx(100)),
        "nail-10-plate": (pytest.approx(40), pytest.approx(400)),
        "nail-10-distal": (pytest.approx(10), pytest.approx(100)),
    }
