"""The way in from a notebook: what a researcher writes there, and the sentences that come back."""

from __future__ import annotations

import re
import subprocess
import sys
from math import pi
from pathlib import Path

import gapstrain
import numpy as np
import pandas as pd
import pytest

from geometries.materials import MATERIALS
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from pipeline.tables.flagged import FOOTNOTE, MARK
from tests.designs import fabricate, share, study_of
from tests.made import row_of, write_origin, write_run

ROOT = Path(__file__).parents[2]
SCRIPT = """
import gapstrain

if __name__ == "__main__":
    study = gapstrain.load("my-study.toml").with_values({"constructs.thin.length_mm": 50.0})
    run = gapstrain.run(study, out="mine", workers=1)
    print(run.pivot("axial_stiffness", location="sections", load="pull"))
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, bench_study: str) -> Path:
    """A folder with a study file, in which a program was run as a researcher would."""
    folder = tmp_path_factory.mktemp("home")
    (folder / "my-study.toml").write_text(bench_study, encoding="utf-8")
    (folder / "mine.py").write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "mine.py"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "2/2" in done.stdout  # the bar
    assert "thick" in done.stdout
    return folder


@pytest.fixture(scope="module")
def finished(home: Path) -> gapstrain.Run:
    return gapstrain.open(home / "mine")


def test_a_run_is_that_of_the_command_line(home: Path, finished: gapstrain.Run):
    assert finished.study.constructs[0].length_mm == 50.0
    assert (home / "mine" / "report.html").is_file()
    text = (home / "mine" / "study.toml").read_text(encoding="utf-8")
    assert text == (home / "my-study.toml").read_text(encoding="utf-8")
    study = gapstrain.load(home / "mine" / "study.toml")
    assert study.with_values({"constructs.thin.length_mm": 50}).config == finished.study


def test_a_table_is_typed_and_hides_nothing_of_a_frame(home: Path, finished: gapstrain.Run):
    table = finished.table()
    written = read_table(home / "mine" / "results.csv")
    assert len(table) == len(written)
    assert table.value.tolist() == pytest.approx([float(row["value"]) for row in written], rel=1e-6)
    known = [row["error"] for row in written]
    assert table.error.isna().tolist() == [not error for error in known]
    assert not table.error.isna().all()
    assert table.doubts.tolist() == [row["flags"] for row in written]
    assert not set(table.columns) & set(dir(pd.DataFrame))
    for name in ("value", "gap_mm", "percent_of_intact", "volume_error"):
        assert table[name].dtype == np.float64
    assert len(finished.failures) == 0


def test_a_pivot_has_constructs_by_stages(finished: gapstrain.Run):
    # E A / L between the sections, statics; mesh and clamp are worth under 0.5 %.
    frame = finished.pivot("axial_stiffness", location="sections", load="pull")
    assert (list(frame.index), list(frame.columns)) == (["thin", "thick"], ["intact"])
    exact = MATERIALS["steel"].modulus * pi / 4 * np.array([(10**2 - 6**2) / 30, (12**2 - 6**2) / 20])
    assert frame["intact"].to_numpy() == pytest.approx(exact, rel=5e-3)


def test_a_pivot_keeps_the_order_of_the_study(demo, tmp_path: Path):
    """Cases solve the stiffest stage first; a reader expects the stages as the study lists them."""
    study = parse_study(demo, "demo")
    names = [stage.name for stage in study.stages]
    what = ("gap_shear_movement", "far", "mm")
    rows = [row_of("plate", what, 0.5, stage=name) for name in reversed(names)]
    rows += [row_of("intact", what, 0.1, stage="intact")]
    frame = gapstrain.open(write_run(tmp_path / "out", study, rows)).pivot(
        "gap_shear_movement", location="far", load="hip"
    )
    assert list(frame.columns) == [*names, "intact"]
    assert frame.loc["plate", names[0]] == 0.5
    assert np.isnan(frame.loc["intact", names[0]])


def test_a_pivot_shows_what_is_flagged_and_keeps_numbers(demo, tmp_path: Path):
    study = parse_study(demo, "demo")
    first, second = (stage.name for stage in study.stages[:2])
    what = ("gap_shear_movement", "far", "mm")
    rows = [
        row_of("plate", what, 0.5, stage=first, flags="bone ends overlap"),
        row_of("plate", what, 0.25, stage=second),
        row_of("nail-10", what, 0.125, stage=first),
        row_of(
            "nail-10", what, 2.5, stage=second, flags="x", mesh="three meshes: singular, do not quote"
        ),
    ]
    run = gapstrain.open(write_run(tmp_path / "out", study, rows))
    frame = run.pivot("gap_shear_movement", location="far", load="hip")
    assert frame.loc["plate", first] == 0.5
    assert set(frame.dtypes) == {np.dtype(np.float64)}
    assert frame.attrs["flags"] == {"plate": {first: "bone ends overlap"}}
    for shown in (repr(frame), re.sub(r"<[^>]+>", "", frame._repr_html_())):
        assert f"0.5 {MARK}" in shown
        assert shown.count(MARK) == 2  # at the value, and at the footnote below
        assert shown.rstrip().endswith(FOOTNOTE)
    assert MARK not in repr(frame.loc[["nail-10"]])
    frame.to_parquet(tmp_path / "kept.parquet")
    assert pd.read_parquet(tmp_path / "kept.parquet").attrs == frame.attrs
    frame.drop(index="plate", inplace=True)
    assert "0.125" in repr(frame)


def test_a_mesh_has_the_fields_of_one_stage_and_load(finished: gapstrain.Run):
    grid = finished.mesh("thin", stage="intact", load="pull")
    assert {*grid.point_data, *grid.cell_data} == {
        "displacement_mm", "part", "part_name", "von_mises_MPa", "octahedral_strain_percent",
    }  # fmt: skip
    assert set(grid.cell_data["part_name"]) == {"layer_1"}
    # Stress of a bar: force over area; the top moves by F L / E A.
    area = pi / 4 * (10**2 - 6**2)
    assert np.median(grid.cell_data["von_mises_MPa"]) == pytest.approx(100 / area, rel=0.01)
    top = grid.point_data["displacement_mm"][grid.points[:, 2] > 50 - 1e-6, 2]
    assert top.mean() == pytest.approx(100 * 50 / (MATERIALS["steel"].modulus * area), rel=0.01)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"constructs.thin.length_mm": -4}, "construct 'thin': length_mm = -4: allowed 3 to 1000"),
        ({"constructs.thin.lengthy": 4}, "construct 'thin': lengthy = 4: unknown key; did you mean "),
        ({"mesh.level": {"a": 1}}, "mesh.level = {'a': 1}: allowed are numbers, words, truth values"),
        ({"mesh.level": "superfine"}, "mesh.level = 'superfine'"),
    ],
)
def test_a_wrong_value_is_the_sentence_of_the_command_line(home: Path, values, words: str):
    with pytest.raises(gapstrain.StudyError, match=re.escape(words)):
        gapstrain.load(home / "my-study.toml").with_values(values)


def test_numbers_of_numpy_are_taken(home: Path):
    study = gapstrain.load(home / "my-study.toml")
    length = np.linspace(44, 50, 3)[1]
    assert study.with_values({"constructs.thin.length_mm": length}).config.constructs[0].length_mm == 47


def test_what_is_not_there_is_said_with_what_is(home: Path, finished: gapstrain.Run):
    with pytest.raises(gapstrain.StudyError, match="no such folder; give that of a finished run"):
        gapstrain.open(home / "other")
    with pytest.raises(gapstrain.StudyError, match="the nearest allowed are axial_stiffness"):
        finished.pivot("axial_stifness", location="sections", load="pull")
    with pytest.raises(gapstrain.StudyError, match="no construct has it; allowed sections under pull"):
        finished.pivot("axial_stiffness", location="top", load="pull")
    with pytest.raises(gapstrain.StudyError, match="allowed intact under pull, intact under twist"):
        finished.mesh("thin", stage="empty", load="shove")
    with pytest.raises(gapstrain.StudyError, match="no finished case of 'other'"):
        finished.mesh("other", stage="empty", load="pull")
    with pytest.raises(gapstrain.StudyError, match=r"--levels 2: allowed 1 or 3"):
        gapstrain.run(gapstrain.load(home / "my-study.toml"), home / "mine", levels=2)


def test_factors_of_a_design_stand_beside_the_results(demo, tmp_path: Path):
    study = study_of(demo, kind="latin_hypercube", samples=8, seed=3)
    fabricate(study, tmp_path, lambda values: share(values, 0))
    write_origin(tmp_path, study)
    table = gapstrain.open(tmp_path).table()
    key = "femur.length_mm"
    assert table[key].dtype == np.float64
    assert table.value.to_numpy() == pytest.approx((table[key].to_numpy() - 400) / 40, abs=1e-5)
    frame = gapstrain.open(tmp_path).pivot(
        "axial_stiffness", location="sections", load="hip", variant=table.variant[1]
    )
    assert frame.loc["nail-10", "woven"] == pytest.approx(table.value[1])


def test_the_readme_s_program_asks_for_what_there_is():
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```python\n(import gapstrain.*?)```", page, re.DOTALL)
    assert set(re.findall(r"gapstrain\.(\w+)\(", block)) <= set(gapstrain.__all__)
    assert set(re.findall(r"\brun\.(\w+)\(", block)) == {"table", "pivot", "mesh"}
    assert all(hasattr(gapstrain.Run, name) for name in ("table", "pivot", "mesh"))
    template = (ROOT / "pipeline/study/templates/plate-or-exchange.toml").read_text(encoding="utf-8")
    asked = set(re.findall(r'"([\w-]+)"', block)) & {"retained-nail", "atrophic", "walking"}
    assert len(asked) == 3  # as the study has them that the same page starts
    assert all(f'name = "{name}"' in template for name in asked)
