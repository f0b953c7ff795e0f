"""Figures of sensitivity: which results they show, and what they say of them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure

from geometries.errors import StudyError
from pipeline.output import charts
from pipeline.output.indices import draw_indices
from pipeline.storage.files import read_table, write_table
from pipeline.sweeps.sensitivity import SENSITIVITY_COLUMNS
from tests.designs import KEYS, fabricate, share, study_of

KINDS = {
    "one_at_a_time": {},
    "morris": {"trajectories": 4, "seed": 1},
    "sobol_indices": {"samples": 16, "seed": 1},
    "latin_hypercube": {"samples": 24, "seed": 1},
}


def _bent(values: Any) -> float:
    return 10 + 4 * share(values, 0) - 3 * share(values, 1) ** 2 + share(values, 0) * share(values, 2)


@pytest.mark.parametrize("kind", KINDS)
def test_every_method_has_a_figure(demo: dict[str, Any], tmp_path: Path, kind: str):
    rows = fabricate(study_of(demo, kind=kind, **KINDS[kind]), tmp_path, _bent)
    paths = draw_indices(tmp_path, "woven", "axial")
    assert [path.name for path in paths] == ["sensitivity-nail-10.png", "sensitivity-nail-10.svg"]
    assert paths[0].read_bytes()[:8] == b"\x89PNG\r\n\x1a\n", "the signature of the format"
    words = re.sub(r"<[^>]+>", "\n", paths[1].read_text(encoding="utf-8"))
    for word in (
        "nail-10",
        "axial stiffness, sections",
        "tissue stage: woven",
        "length_mm",
        "not a medical",
    ):
        assert word in words
    q2 = f"Q² {float(rows[0]['q2']):.2f}" if rows[0]["q2"] else "Q² unknown"
    assert q2 in words
    assert f"{rows[0]['points']} points" in words
    first = paths[1].read_bytes()
    assert draw_indices(tmp_path, "woven", "axial")[1].read_bytes() == first, "same table, same file"


def test_no_figure_without_a_table_or_of_another_stage(demo: dict[str, Any], tmp_path: Path):
    assert draw_indices(tmp_path, "woven", "axial") == []
    fabricate(study_of(demo, kind="one_at_a_time"), tmp_path, _bent)
    assert draw_indices(tmp_path, "empty", "axial") == []


def test_missing_points_are_said_in_the_figure(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, kind="morris", **KINDS["morris"])
    fabricate(study, tmp_path, _bent, {"v003": "failed"})
    svg = draw_indices(tmp_path, "woven", "axial")[1].read_text(encoding="utf-8")
    assert "no result (v003)" in svg


def test_the_shown_location_and_load_come_first(demo: dict[str, Any], tmp_path: Path):
    """Definition: as in the short table, and a load that has the result where the shown one has not."""
    rows = fabricate(study_of(demo, kind="one_at_a_time"), tmp_path, _bent)
    moved = [
        row | {"quantity": "gap_axial_movement", "location": where, "load": load}
        for row in rows
        for where in ("centre", "far")
        for load in ("torsion", "walking")
    ]
    write_table(tmp_path / "sensitivity.csv", [*moved, *rows], SENSITIVITY_COLUMNS)
    svg = draw_indices(tmp_path, "woven", "walking")[1].read_text(encoding="utf-8")
    assert "gap axial movement, far" in svg
    assert "load walking" in svg
    assert "load torsion" not in svg
    assert "load hip" in svg, "the stiffness has no other"


def test_a_factor_without_its_points_has_no_bar(demo: dict[str, Any], tmp_path: Path):
    fabricate(study_of(demo, kind="one_at_a_time"), tmp_path, _bent, {"v002": "failed"})
    axes, _ = _drawn(tmp_path, charts.tornado)
    assert len(axes.patches) == 4
    assert draw_indices(tmp_path, "woven", "axial")


def _drawn(tmp_path: Path, chart: Any) -> Any:
    rows = read_table(tmp_path / "sensitivity.csv")
    axes = Figure().add_subplot()
    chart(axes, rows, charts.names_of(rows))
    return axes, {(row["factor"], row["index"]): row for row in rows}


def test_bars_are_as_long_as_the_table_says(demo: dict[str, Any], tmp_path: Path):
    fabricate(study_of(demo, kind="one_at_a_time"), tmp_path, _bent)
    axes, cells = _drawn(tmp_path, charts.tornado)
    changes = [float(row["value"]) for (_, index), row in cells.items() if index != "swing"]
    assert sorted(bar.get_width() for bar in axes.patches) == pytest.approx(sorted(changes))
    names = [label.get_text() for label in axes.get_yticklabels()]
    swings = [
        float(cells[key, "swing"]["value"]) for key in sorted(KEYS, key=lambda k: k.split(".")[-1])
    ]
    by_name = dict(zip(sorted(key.split(".")[-1] for key in KEYS), swings, strict=True))
    assert names == sorted(by_name, key=by_name.__getitem__), "the widest stands on top"


def test_factors_of_one_name_are_told_apart():
    keys = ("constructs.nail-10.nail.diameter_mm", "constructs.plated.nail.diameter_mm")
    rows = [{"factor": key, "label": "diameter_mm"} for key in keys]
    rows.append({"factor": "defect.gap_mm", "label": "gap"})
    names = charts.names_of(rows)
    assert len(set(names.values())) == 3
    assert "nail-10" in names[keys[0]]
    assert names["defect.gap_mm"] == "gap"


def test_a_name_that_leads_elsewhere_draws_nothing(demo: dict[str, Any], tmp_path: Path):
    # The folder may be that of someone else: no file outside its figures is written.
    rows = fabricate(study_of(demo, kind="one_at_a_time"), tmp_path / "run", _bent)
    table = [row | {"construct": "/../../up"} for row in rows]
    write_table(tmp_path / "run" / "sensitivity.csv", table, SENSITIVITY_COLUMNS)
    (tmp_path / "run" / "figures" / "sensitivity-").mkdir(parents=True)
    with pytest.raises(StudyError, match="can not name a file"):
        draw_indices(tmp_path / "run", "woven", "axial")
    assert not list(tmp_path.rglob("*up*"))
