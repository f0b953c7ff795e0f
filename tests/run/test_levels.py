"""A study on three mesh levels: what its table says about the error of each value."""

from __future__ import annotations

from math import pi
from pathlib import Path
from typing import Any

import pytest
import typer

from geometries.errors import StudyError
from geometries.materials import MATERIALS
from pipeline.cli.commands.run import run
from pipeline.run.collect import RESULT_COLUMNS
from pipeline.run.levels import LEVELS, at_level, level_folders, other_levels, write_errors
from pipeline.run.planning import plan
from pipeline.storage.casebook import write_index
from pipeline.storage.files import read_table, write_json, write_table
from pipeline.study.config import StudyConfig, load_study, parse_study

CELLS = {"fine": 64_000, "default": 8_000, "coarse": 1_000}  # sizes 1 : 2 : 4


@pytest.fixture
def study(tmp_path: Path, bench_study: str) -> StudyConfig:
    (tmp_path / "tubes.toml").write_text(bench_study, encoding="utf-8")
    return load_study(tmp_path / "tubes.toml", ("mesh.level=default",))


def table(study: StudyConfig, out: Path, values: dict[str, tuple[str, str, str]]) -> None:
    """Results of a construct on the three levels, by quantity: fine, default, coarse."""
    for k, (level, folder) in enumerate(level_folders(study, out).items()):
        (folder / "cases" / "0a").mkdir(parents=True)
        write_index(folder, [{"construct": "thin", "case": "0a"}])
        write_json(folder / "cases" / "0a" / "summary.json", {"facts": {"cells": CELLS[level]}})
        common = {
            "variant": "",
            "construct": "thin",
            "stage": "",
            "load": "pull",
            "location": "sections",
        }
        rows = [
            {**common, "quantity": name, "value": three[k], "status": "ok" if three[k] else "failed"}
            for name, three in values.items()
        ]
        write_table(folder / "results.csv", rows, RESULT_COLUMNS)


def by_construct(path: Path) -> list[dict[tuple[str, ...], dict[str, str]]]:
    """Rows of each construct by what they say."""
    found: dict[str, dict[tuple[str, ...], dict[str, str]]] = {}
    for row in read_table(path):
        key = (row["stage"], row["load"], row["quantity"], row["location"])
        found.setdefault(row["construct"], {})[key] = row
    return list(found.values())


def test_every_value_gets_its_index_and_its_verdict(study: StudyConfig, tmp_path: Path):
    # Second order by construction: f = 10 + 0.2 h², h = 1, 2, 4; so the value at the middle level is
    # 0.8 off, and 1.25 * 0.8 / 10.8 = 9.26 %.
    values = {
        "axial_stiffness": ("10.2", "10.8", "13.2"),
        "von_mises_5mm3": ("300", "200", "100"),
        "gap_axial_movement": ("1.0", "1.1", "0.9"),
        "gap_shear_movement": ("2", "2", "2"),
        "proximal_movement": ("1.0", "", "1.2"),
    }
    table(study, tmp_path, values)
    write_errors(study, tmp_path, ("thin", "thick"))
    found = {row["quantity"]: row for row in read_table(tmp_path / "results.csv")}
    assert found["axial_stiffness"]["mesh"] == "converging, order 2"
    assert float(found["axial_stiffness"]["extrapolated"]) == pytest.approx(10, rel=1e-6)
    assert float(found["axial_stiffness"]["error"]) == pytest.approx(100 * 1.25 * 0.8 / 10.8, rel=1e-2)
    assert found["von_mises_5mm3"]["mesh"] == "singular, do not quote"
    assert found["von_mises_5mm3"]["error"] == ""
    assert found["gap_axial_movement"]["mesh"] == "oscillatory"
    assert (found["gap_shear_movement"]["mesh"], found["gap_shear_movement"]["error"]) == ("exact", "0")
    assert (found["proximal_movement"]["mesh"], found["proximal_movement"]["error"]) == ("", "")
    assert [found[name]["extrapolated"] for name in list(values)[1:]] == ["", "", "2", ""]


def test_what_should_be_zero_has_no_error(study: StudyConfig, tmp_path: Path):
    # Shear under pure torsion: digits of round-off beside the shear of another load.
    table(study, tmp_path, {"gap_shear_movement": ("3.1", "3.2", "3.6")})
    for k, folder in enumerate(level_folders(study, tmp_path).values()):
        rows = read_table(folder / "results.csv")
        rows.append({**rows[0], "load": "twist", "value": ("2e-10", "-1e-10", "7e-10")[k]})
        write_table(folder / "results.csv", rows, RESULT_COLUMNS)
    write_errors(study, tmp_path, ("thin",))
    pull, twist = read_table(tmp_path / "results.csv")
    assert pull["mesh"].startswith("converging")
    assert (twist["mesh"], twist["error"]) == ("round-off", "")


def test_each_level_has_a_folder_and_the_own_one_is_the_study_s(study: StudyConfig, tmp_path: Path):
    folders = level_folders(study, tmp_path)
    assert tuple(folders) == LEVELS == ("fine", "default", "coarse")
    assert folders["default"] == tmp_path
    assert at_level(study, "fine").mesh.level == "fine"
    assert at_level(study, "default") == study


def test_the_other_levels_are_forecast_for_the_sample_alone(demo: dict[str, Any]):
    """By definition: what the plans of these levels say of these cases."""
    study = parse_study(demo, "demo")
    fine, default = other_levels(study, ("plate",))
    alone = [one for one in demo["constructs"] if one["name"] == "plate"]
    own = plan(at_level(parse_study({**demo, "constructs": alone}, "demo"), "fine")).only(("plate",))
    assert study.mesh.level == "coarse"
    assert fine == own.forecast
    assert 0 < default.hours < fine.hours


def test_the_command_fills_the_error_column(tmp_path: Path, bench_study: str):
    """For real: E A / L of a tube in tension lies within what its own error bar says."""
    path = tmp_path / "tubes.toml"
    path.write_text(bench_study, encoding="utf-8")
    run(path, tmp_path / "out", 2, ["mesh.level=default"], levels=3)
    rows = read_table(tmp_path / "out" / "results.csv")
    (row,) = (r for r in rows if r["construct"] == "thin" and r["quantity"] == "axial_stiffness")
    exact = MATERIALS["steel"].modulus * pi / 4 * (10**2 - 6**2) / 20  # any handbook
    assert row["mesh"]
    assert float(row["value"]) == pytest.approx(exact, rel=0.01 + float(row["error"] or 0) / 100)
    assert {r["mesh"] for r in rows} - {""}
    assert (tmp_path / "out" / "levels" / "fine" / "results.csv").exists()
    pairs = read_table(tmp_path / "out" / "comparisons.csv")
    (pair,) = (one for one in pairs if one["quantity"] == "axial_stiffness")
    ratio = (12**2 - 6**2) / (10**2 - 6**2)  # of the sections
    assert (pair["a"], pair["b"]) == ("thin", "thick")
    assert float(pair["difference_percent"]) == pytest.approx(100 * (ratio - 1), rel=0.01)
    assert pair["verdict"] == ("a lower" if pair["combined_error"] else "unknown error")
    assert {one["verdict"] for one in pairs} & {"a lower", "a higher"}


def test_the_cheap_mode_runs_a_sample_and_lends_its_errors(
    tmp_path: Path, bench_study: str, capsys: pytest.CaptureFixture[str]
):
    """For real: of two tubes one runs on three meshes, and the other borrows its errors."""
    path, out = tmp_path / "tubes.toml", tmp_path / "out"
    path.write_text(bench_study, encoding="utf-8")
    run(path, out, 2, ["mesh.level=default"], levels=3, error_cases=1)
    said = " ".join(capsys.readouterr().out.split())
    assert "Three meshes for 1 of 2 constructs: thin. The errors of the others are estimated" in said
    assert "± of thick is estimated from other constructs" in said
    assert {row["construct"] for row in read_table(out / "levels" / "fine" / "results.csv")} == {"thin"}
    own, others = by_construct(out / "results.csv")
    assert own.keys() == others.keys()
    lent = {key: row for key, row in others.items() if row["mesh"].startswith("estimated")}
    assert lent
    for key, row in others.items():
        assert (row["error"], row["extrapolated"]) == (own[key]["error"], "")
        assert (own[key]["mesh"] == "singular, do not quote") == row["mesh"].startswith(
            "singular in thin"
        )
        if key in lent:
            assert row["mesh"] == "estimated from 1 of 2 constructs: thin; same stage and load"


def test_a_sample_needs_three_meshes(tmp_path: Path, bench_study: str):
    path = tmp_path / "tubes.toml"
    path.write_text(bench_study, encoding="utf-8")
    with pytest.raises(StudyError, match="--error-cases 1: allowed with three meshes only; add"):
        run(path, tmp_path / "out", 1, error_cases=1)


def test_two_levels_are_refused(tmp_path: Path, bench_study: str):
    path = tmp_path / "tubes.toml"
    path.write_text(bench_study, encoding="utf-8")
    with pytest.raises((StudyError, typer.Exit), match="--levels 2: allowed 1 or 3"):
        run(path, tmp_path / "out", 1, levels=2)
