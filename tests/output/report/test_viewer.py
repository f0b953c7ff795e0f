"""Surfaces in the page: where the fields' mesh is, mirrored, with its values at each stage and load."""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.errors import OutputError
from pipeline.measures.exploring import LIVE
from pipeline.output.model import Stored, read_stored
from pipeline.output.report import viewer
from pipeline.output.report.run import ReportedRun
from pipeline.output.shells import STEP_MM, TOP, gap_frame, legend, looks, shells, tops
from tests.hostile.live import live
from tests.made import RECORD, address_of, write_run
from tests.output.report.made_up import NAMES, rows_of, study_of, write_fields
from tests.output.report.reading import made

NAME = NAMES[0]
SHOWS = (("atrophic", "hip"), ("empty", "torsion"), ("atrophic", "torsion"))


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> ReportedRun:
    study = study_of(demo)
    out = write_run(tmp_path / "out", study, rows_of())
    write_fields(out / "cases" / address_of(NAME), SHOWS)
    return ReportedRun(study, out)


@pytest.fixture
def case(run: ReportedRun) -> Stored:
    return read_stored(run.out, NAME)


def shells_of(case: Stored) -> list[dict[str, Any]]:
    return shells(case, {shown: tops([case], shown) for shown in SHOWS}, {})


def points_of(shell: dict[str, Any]) -> np.ndarray:
    return np.frombuffer(b64decode(shell["points"]), "<i2").reshape(-1, 3) * STEP_MM


def test_surfaces_are_those_of_the_mesh_mirrored(case: Stored):
    """Three slabs of 24 by 16 by 9 mm, x from -11 to 13: by hand."""
    whole = {shell["role"]: points_of(shell) for shell in shells_of(case) if not shell["face"]}
    for role, low in (("cortex", 1.0), ("gap", 10.0), ("nail", 19.0)):
        assert whole[role].min(axis=0) == pytest.approx([-13, -9, low], abs=STEP_MM)
        assert whole[role].max(axis=0) == pytest.approx([11, 7, low + 9], abs=STEP_MM)


def test_faces_of_the_cut_lie_in_it_and_only_in_what_is_cut(case: Stored):
    faces = [shell for shell in shells_of(case) if shell["face"]]
    assert {shell["role"] for shell in faces} == {"cortex", "gap"}  # definition
    assert all(np.abs(points_of(shell)[:, 1]).max() <= STEP_MM for shell in faces)


def test_fields_keep_their_values_and_cells_their_points(case: Stored):
    painted = 0
    for shell in shells_of(case):
        points = points_of(shell)
        cells = np.frombuffer(b64decode(shell["cells"]), "<u4" if shell["wide"] else "<u2")
        assert cells.max() < len(points)
        for number, shown in enumerate(SHOWS if shell["shows"] else ()):
            if not shell["fields"][number]:
                continue
            painted += 1
            shares = np.frombuffer(b64decode(shell["fields"][number]), "u1") / TOP
            top = tops([case], shown)[shell["shows"]]
            base = {"stress": 100, "strain": 20}[shell["shows"]]
            # x of the model is minus x of the page; a value is that of cells round its point
            assert shares * top / 10**number == pytest.approx(base - points[:, 0], abs=4.5)
    assert painted == 3 + 2 * 2  # nail at each; gap and its face where the stage is not empty


def test_points_follow_the_nearest_cell_of_their_part(case: Stored):
    parts = np.array([part["role"] for part in case.summary["parts"]])[case.grid.cell_data["part"]]
    middles, cells = case.grid.cell_centers().points, np.arange(len(parts), dtype=np.int32)
    shows = {SHOWS[0]: tops([case], SHOWS[0])}
    followed = {"stress": cells[::2][::-1], "strain": cells}  # in any order, of other parts as well
    found = {}
    for shell in shells(case, shows, followed):
        near = np.frombuffer(b64decode(shell["near"]), "<u4")
        if not shell["shows"]:
            assert not len(near)
            continue
        found[shell["role"]] = near
        allowed = cells[(parts == shell["role"]) & np.isin(cells, followed[shell["shows"]])]
        apart = points_of(shell)[:, None] * [-1, 1, 1] - middles[allowed]
        nearest = np.linalg.norm(apart, axis=2)
        own = np.linalg.norm(points_of(shell) * [-1, 1, 1] - middles[near], axis=1)
        assert set(near) <= set(allowed)
        assert own == pytest.approx(nearest.min(axis=1), abs=2 * STEP_MM)
    assert found.keys() == {"nail", "gap"}


def test_cells_that_a_mesh_has_not_are_refused(case: Stored):
    beyond = {"stress": np.array([case.grid.n_cells], np.int32)}
    with pytest.raises(OutputError, match=r"has cells that .* has not; run the study again"):
        shells(case, {}, beyond)


def test_an_empty_gap_has_no_strain(case: Stored):
    for shell in shells_of(case):
        if shell["role"] == "gap":
            assert [bool(field) for field in shell["fields"]] == [True, False, True]


def test_colours_have_one_range_for_all_constructs_at_a_stage_and_load(case: Stored):
    first, last = (tops([case], shown)["stress"] for shown in (SHOWS[0], SHOWS[2]))
    assert 108 < first <= 113  # 99th percentile of 100 + x, x up to 13: by hand
    assert last == pytest.approx(100 * first)  # as they were written
    assert all(len(look["colours"]) == 11 for look in looks().values())


def test_the_gap_is_framed_where_it_is(case: Stored):
    """The middle slab, x from -11 to 13 mirrored, y from -9 to 7, z from 10 to 19: by hand."""
    assert gap_frame(case) == {"at": [-1.0, -1.0, 14.5], "half": [12.0, 8.0, 4.5]}


def test_whole_bone_is_framed_where_others_have_the_gap(case: Stored):
    """As the slabs are wide, and as high as the record says; where there is no gap, nothing."""
    place = {"height_mm": 14.0, "length_mm": 3.0, "radius_mm": 12.0}
    bone = [{"name": "cortex", "role": "cortex", "material": "cortical"}]
    whole = Stored({"parts": bone, "gap": place}, case.grid)
    assert gap_frame(whole) == {"at": [-1.0, -1.0, 14.0], "half": [12.0, 8.0, 1.5]}
    assert gap_frame(Stored({"parts": bone, "gap": None}, case.grid)) is None


def test_the_legend_names_parts_and_what_their_name_does_not_say(case: Stored):
    assert [row["words"] for row in legend(case)] == [
        "cortical bone", "tissue in the gap", "nail, titanium",
    ]  # fmt: skip
    parts = [{**part, "material": f"{part['material']}_osteoporotic"} for part in RECORD["parts"][:1]]
    old = Stored({"parts": parts}, case.grid)
    assert [row["words"] for row in legend(old)] == ["cortical bone, osteoporotic"]


def test_what_is_stored_is_offered_the_shown_first(run: ReportedRun):
    """The study shows atrophic under hip, as the demo does."""
    found = viewer.solids(run, None)["shows"]
    expected = [("atrophic", "hip"), ("atrophic", "torsion"), ("empty", "torsion")]
    assert [(one["stage"], one["load"]) for one in found] == expected


def test_stages_that_find_no_room_are_named(run: ReportedRun, monkeypatch: pytest.MonkeyPatch):
    (one,) = viewer.solids(run, None)["constructs"]
    sizes = [sum(viewer._size(shell, count) for shell in one["shells"]) for count in (2, 3)]
    monkeypatch.setattr(viewer, "MOST_BYTES", sizes[1])
    found = viewer.solids(run, None)
    assert sizes[0] < sizes[1]
    assert found["without"] == ["empty under torsion"]
    assert len(found["shows"]) == 2
    assert all(len(one) <= 2 for shell in found["constructs"][0]["shells"] for one in [shell["fields"]])


def test_what_finds_no_room_is_named(run: ReportedRun, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(viewer, "MOST_BYTES", 10)
    found = viewer.solids(run, None)
    assert (found["constructs"], found["left"]) == ([], [NAME])
    text = made((run.study, run.out))
    assert f"open the fields.vtu of {NAME} in a viewer" in text
    assert 'id="turning"' not in text


def live_of(case: Stored) -> dict[str, Any]:
    """A model whose nail has colours that follow: one number of five in each cell."""
    parts = np.array([part["role"] for part in case.summary["parts"]])[case.grid.cell_data["part"]]
    cells = np.flatnonzero(parts == "nail").astype("<i4")
    values = np.zeros((len(cells), 5), np.int8)
    field = {"cells": cells, "values": values, "rows": np.ones(3)}
    told = {key: b64encode(one.tobytes()).decode() for key, one in field.items()}
    return {"constructs": [{"name": NAME, "fields": {"stress": told}}]}


def test_colours_that_follow_come_before_stages_and_after_surfaces(
    run: ReportedRun, case: Stored, monkeypatch: pytest.MonkeyPatch
):
    live = live_of(case)
    whole = viewer.solids(run, live)
    (one,) = whole["constructs"]
    assert one["fields"].keys() == {"stress"}
    assert whole["uncoloured"] == []
    sizes = [viewer._taken([one | {"fields": fields}], 1) for fields in ({}, one["fields"])]
    for most, uncoloured in ((sizes[1] + 1, []), (sizes[1], [NAME])):
        monkeypatch.setattr(viewer, "MOST_BYTES", most)
        found = viewer.solids(run, live)
        assert found["uncoloured"] == uncoloured
        near = [bool(shell["near"]) for shell in found["constructs"][0]["shells"]]
        assert any(near) == (not uncoloured)


def test_models_take_room_from_surfaces(
    run: ReportedRun, case: Stored, monkeypatch: pytest.MonkeyPatch
):
    heavy = live_of(case)
    heavy["constructs"][0]["stiffness"] = "A" * 1000
    size = viewer._taken(viewer.solids(run, None)["constructs"], 1)
    monkeypatch.setattr(viewer, "MOST_WITH_MODELS", size + 500)
    assert viewer.solids(run, None)["left"] == []
    assert viewer.solids(run, heavy)["left"] == [NAME]


def test_without_fields_there_is_nothing_to_turn(run: ReportedRun):
    (run.out / "cases" / address_of(NAME) / "fields.vtu").unlink()
    assert viewer.solids(ReportedRun(run.study, run.out), None) == {}


@pytest.mark.parametrize("has_fields", [True, False])
def test_a_page_explores_with_and_without_surfaces(run: ReportedRun, has_fields: bool):
    (run.out / LIVE).write_text(json.dumps(live()), encoding="utf-8")
    if not has_fields:
        (run.out / "cases" / address_of(NAME) / "fields.vtu").unlink()
    text = made((run.study, run.out))
    assert 'id="explore"' in text
    assert ('id="turning"' in text) == has_fields
