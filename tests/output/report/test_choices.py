"""Charts of each stage and load: which are offered, what they show, and that nothing is read twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.output.report import choices as chosen
from pipeline.output.report import run as runs
from pipeline.output.report.choices import choices
from pipeline.output.report.run import ReportedRun
from tests.made import row_of, write_run
from tests.output.report.made_up import rows_of, study_of

SHEAR = ("gap_shear_movement", "far", "mm")
STIFF = ("load_point_stiffness", "load_point", "N/mm")


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> ReportedRun:
    more = [
        row_of("plate", SHEAR, 0.0271828, stage="woven", load="torsion"),
        row_of("plate", SHEAR, 0.141421, stage="atrophic", load="torsion"),
        row_of("plate", STIFF, 1618.03, stage="woven", load="hip"),
        row_of("plate", SHEAR, 0.577216, stage="empty", load="hip", status="failed", reason="invented"),
    ]
    study = study_of(demo)
    return ReportedRun(study, write_run(tmp_path / "out", study, [*rows_of(), *more]))


def test_what_is_solved_is_offered_the_shown_first(run: ReportedRun, demo: dict[str, Any]):
    """The demo shows atrophic under hip."""
    found = choices(run)
    listed = [(one.stage, one.load) for one in found.of_load]
    assert listed == [
        ("atrophic", "hip"), ("atrophic", "torsion"), ("woven", "hip"), ("woven", "torsion"),
    ]  # fmt: skip
    assert (found.stages, found.loads) == (["atrophic", "woven"], ["hip", "torsion"])
    assert found.without == []
    last = ReportedRun(study_of(demo, show={"stage": "woven", "load": "torsion"}), run.out)
    assert [(one.stage, one.load) for one in choices(last).of_load] == [
        ("woven", "torsion"), ("woven", "hip"), ("atrophic", "torsion"), ("atrophic", "hip"),
    ]  # fmt: skip


def test_charts_show_their_own_stage_and_load_and_say_so(run: ReportedRun):
    found = choices(run)
    words = {(one.stage, one.load): [chart.words for chart in one.charts] for one in found.of_load}
    (own,) = words["woven", "torsion"]
    assert own == (
        "At stage woven, load torsion. Gap shear movement, near and far; far: plate 0.0272 mm."
    )  # as it was written
    assert "plate 0.141 mm" in words["atrophic", "torsion"][0]
    assert all(one.startswith("At stage atrophic, load hip. ") for one in words["atrophic", "hip"])
    stiff = {one.stage: [chart.words for chart in one.charts] for one in found.of_stage}
    assert "plate 1618 N/mm" in stiff["woven"][0]
    assert "plate 449 N/mm" in stiff["atrophic"][0]


def test_what_finds_no_room_is_named(run: ReportedRun, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(chosen, "MOST_CHOICES", 2)
    found = choices(run)
    assert len(found.of_load) == 2
    assert found.without == ["woven under hip", "woven under torsion"]


def test_results_are_read_once_for_all_choices(run: ReportedRun, monkeypatch: pytest.MonkeyPatch):
    read: list[Path] = []
    each = runs.each_row
    monkeypatch.setattr(
        runs, "each_row", lambda path, columns: read.append(path) or each(path, columns)
    )
    assert len(choices(run).of_load) == 4
    assert [path.name for path in read] == ["results.csv"]
