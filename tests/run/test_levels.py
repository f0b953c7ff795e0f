"""A study on three mesh levels: what its table says about the error of each value."""

from __future__ import annotations

import shutil
from math import pi
from pathlib import Path
from typing import Any

import pytest
import typer

from geometries.errors import StudyError
from geometries.materials import MATERIALS
from geometries.solids import Geometry
from pipeline.cli.commands.run import run
from pipeline.fem.limits import VOLUME_TOLERANCE
from pipeline.run.case import Case
from pipeline.run.jobs import Outcome
from pipeline.run.planning import cases, plan
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study

ROOT = Path(__file__).parents[2]


def by_construct(path: Path) -> list[dict[tuple[str, ...], dict[str, str]]]:
    """Rows of each construct by what they say."""
    found: dict[str, dict[tuple[str, ...], dict[str, str]]] = {}
    for row in read_table(path):
        key = (row["stage"], row["load"], row["quantity"], row["location"])
        found.setdefault(row["construct"], {})[key] = row
    return list(found.values())


def test_the_other_levels_are_forecast_for_the_sample_alone(demo: dict[str, Any]):
    """By definition: what the plans of these levels say of these cases."""
    planned = plan(parse_study(demo, "demo"))
    default, fine = (one.forecast for one in planned.only(("plate",)).elsewhere)
    alone = [one for one in demo["constructs"] if one["name"] == "plate"]
    changed = {**demo, "constructs": alone, "mesh": {"level": "fine"}}
    own = plan(parse_study(changed, "demo")).only(("plate",))
    assert planned.study.mesh.level == "coarse"
    assert fine == own.forecast
    assert 0 < default.hours < fine.hours


def test_a_case_at_another_level_is_the_case_that_would_be_planned_there(demo: dict[str, Any]):
    """Or its address would be another, and a finished case of it never found again."""
    planned = plan(parse_study(demo, "demo")).at("fine")
    afresh = plan(parse_study({**demo, "mesh": {"level": "fine"}}, "demo"))
    assert [item.case.address for item in planned.items] == [item.case.address for item in afresh.items]
    assert [(item.mesh, item.unknowns) for item in planned.items] == [
        (item.mesh, item.unknowns) for item in afresh.items
    ]


@pytest.mark.parametrize("levels", [1, 3])
def test_each_geometry_is_assembled_once(
    demo: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, levels: int
):
    """By count: of a run on three levels too, whose cases a stand-in for the workers completes."""
    assembled: list[str] = []
    real = Case.geometry

    def counted(case: Case) -> Geometry:
        assembled.append(case.label)
        return real(case)

    monkeypatch.setattr(Case, "geometry", counted)
    monkeypatch.setattr(
        "pipeline.run.execute.complete",
        lambda planned, *_: [Outcome(case, "no mesh", 0.0) for case in planned.cases],
    )
    (tmp_path / "demo.toml").write_text((ROOT / "configs" / "demo.toml").read_text())
    with pytest.raises(typer.Exit):
        run(tmp_path / "demo.toml", tmp_path / "out", 1, levels=levels, quiet=True)
    names = [case.label for case in cases(parse_study(demo, "demo"))]
    assert sorted(assembled) == sorted(names)


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory, bench_study: str) -> Path:
    """Folder of a study of two tubes, run on three meshes for real."""
    folder = tmp_path_factory.mktemp("three")
    (folder / "tubes.toml").write_text(bench_study, encoding="utf-8")
    run(folder / "tubes.toml", folder / "out", 1, ["mesh.level=default"], levels=3)
    return folder


@pytest.mark.slow
def test_the_command_fills_the_error_column(three: Path):
    """E A / L of a tube in tension lies within what its own error bar says."""
    out = three / "out"
    rows = read_table(out / "results.csv")
    (row,) = (r for r in rows if r["construct"] == "thin" and r["quantity"] == "axial_stiffness")
    exact = MATERIALS["steel"].modulus * pi / 4 * (10**2 - 6**2) / 20  # any handbook
    assert row["mesh"]
    assert float(row["value"]) == pytest.approx(exact, rel=0.01 + float(row["error"] or 0) / 100)
    assert {r["mesh"] for r in rows} - {""}
    assert (out / "levels" / "fine" / "results.csv").exists()
    pairs = read_table(out / "comparisons.csv")
    (pair,) = (one for one in pairs if one["quantity"] == "axial_stiffness")
    ratio = (12**2 - 6**2) / (10**2 - 6**2)  # of the sections
    assert (pair["a"], pair["b"]) == ("thin", "thick")
    assert float(pair["difference_percent"]) == pytest.approx(100 * (ratio - 1), rel=0.01)
    assert pair["verdict"] == ("a lower" if pair["combined_error"] else "unknown error")
    assert {one["verdict"] for one in pairs} & {"a lower", "a higher"}


@pytest.mark.slow
def test_one_mesh_tells_how_far_the_fine_one_is(three: Path):
    """Of the coarse mesh alone: its bars hold the fine mesh's stiffness.

    A tube in tension strains evenly, so a mesh only errs by how far its section is from a round one.
    """
    levels = three / "out" / "levels"
    coarse, fine = (
        {
            (row["construct"], row["load"]): row
            for row in read_table(levels / level / "results.csv")
            if row["quantity"] == "axial_stiffness"
        }
        for level in ("coarse", "fine")
    )
    assert coarse
    for key, row in coarse.items():
        off = abs(float(row["value"]) / float(fine[key]["value"]) - 1)
        assert row["mesh"] == "estimated on one mesh"
        assert off < float(row["error"]) / 100 < 2 * VOLUME_TOLERANCE


@pytest.mark.slow
def test_the_cheap_mode_runs_a_sample_and_lends_its_errors(
    three: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """Of two tubes one runs on three meshes, and the other borrows its errors; all are finished."""
    out = tmp_path / "out"
    shutil.copytree(three / "out", out)
    run(three / "tubes.toml", out, 1, ["mesh.level=default"], levels=3, error_cases=1)
    said = " ".join(capsys.readouterr().out.split())
    assert "Three meshes for 1 of 2 constructs: thin. The errors of the others are estimated" in said
    assert "± of thick is partly borrowed" in said
    assert {row["construct"] for row in read_table(out / "levels" / "fine" / "results.csv")} == {"thin"}
    own, others = by_construct(out / "results.csv")
    assert own.keys() == others.keys()
    assert {row["extrapolated"] for row in others.values()} == {""}
    lent = {key: row for key, row in others.items() if row["mesh"].startswith("borrowed")}
    assert lent
    for key, row in lent.items():
        is_singular = "singular" in own[key]["mesh"]
        assert row["error"] == own[key]["error"]
        assert row["mesh"] == (
            "borrowed: singular in thin, do not quote"
            if is_singular
            else "borrowed from 1 of 2 constructs: thin; same stage and load"
        )
    # A stiffness keeps what its own mesh tells.
    stiff = [row for (*_, quantity, _), row in others.items() if quantity == "axial_stiffness"]
    assert [row["mesh"] for row in stiff] == ["estimated on one mesh"]


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
