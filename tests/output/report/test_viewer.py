"""Surfaces in the page: where the fields' mesh is, mirrored, halved, with its values."""

from __future__ import annotations

from base64 import b64decode
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.output.report import viewer
from pipeline.output.report.run import ReportedRun
from pipeline.output.shells import STEP_MM, read_ranges, read_shells
from tests.made import address_of, write_run
from tests.output.report.made_up import NAMES, rows_of, study_of, write_fields

NAME = NAMES[0]


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> ReportedRun:
    study = study_of(demo)
    out = write_run(tmp_path / "out", study, rows_of())
    write_fields(out / "cases" / address_of(NAME))
    return ReportedRun(study, out)


def points_of(shell: dict[str, Any]) -> np.ndarray:
    return np.frombuffer(b64decode(shell["points"]), "<i2").reshape(-1, 3) * STEP_MM


def test_surfaces_are_those_of_the_mesh_mirrored(run: ReportedRun):
    """Three slabs of 24 by 16 by 9 mm, x from -11 to 13: by hand."""
    shells = read_shells(run.out, NAME, "atrophic", "hip")
    whole = {shell["role"]: points_of(shell) for shell in shells if not shell["half"]}
    for role, low in (("cortex", 1.0), ("gap", 10.0), ("nail", 19.0)):
        assert whole[role].min(axis=0) == pytest.approx([-13, -9, low], abs=STEP_MM)
        assert whole[role].max(axis=0) == pytest.approx([11, 7, low + 9], abs=STEP_MM)


def test_a_half_is_the_back_and_only_of_what_is_cut(run: ReportedRun):
    shells = read_shells(run.out, NAME, "atrophic", "hip")
    halves = [shell for shell in shells if shell["half"]]
    assert {shell["role"] for shell in halves} == {"cortex", "gap"}  # definition
    assert all(points_of(shell)[:, 1].max() <= STEP_MM for shell in halves)


def test_fields_keep_their_values_and_cells_their_points(run: ReportedRun):
    for shell in read_shells(run.out, NAME, "atrophic", "hip"):
        points = points_of(shell)
        cells = np.frombuffer(b64decode(shell["cells"]), "<u4")
        assert cells.max() < len(points)
        if "field" in shell:
            values = np.frombuffer(b64decode(shell["field"]), "<f4")
            base = {"stress": 100, "strain": 20}[shell["shows"]]
            # x of the model is minus x of the page; a value is that of cells round its point
            assert values == pytest.approx(base - points[:, 0], abs=4.0)


def test_colours_have_one_range_for_all(run: ReportedRun):
    ranges = read_ranges(run.out, [NAME], "atrophic", "hip")
    assert 108 < ranges["stress"]["top"] <= 113  # 99th percentile of 100 + x, x up to 13: by hand
    assert [at for at, _ in ranges["strain"]["colours"]][::10] == [0.0, 1.0]


def test_what_finds_no_room_is_named(run: ReportedRun, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(viewer, "MOST_BYTES", 10)
    found = viewer.solids(run)
    assert (found["constructs"], found["left"]) == ([], [NAME])


def test_without_fields_there_is_nothing_to_turn(run: ReportedRun):
    (run.out / "cases" / address_of(NAME) / "fields.vtu").unlink()
    assert viewer.solids(ReportedRun(run.study, run.out)) == {}
