"""Cases of a study: in which order they run, how one fails, what they are compared with."""

from __future__ import annotations

import sys
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.errors import MeshError
from pipeline.run.collect import related, rows_of
from pipeline.run.execute import Options, execute
from pipeline.run.jobs import Outcome, complete_case
from pipeline.run.planning import cases, plan
from pipeline.run.record import CASE_COLUMNS
from pipeline.storage.casebook import case_folder
from pipeline.storage.files import write_table
from pipeline.study.config import load_study, parse_study


def test_run_refuses_before_any_file_when_gmsh_is_missing(
    tmp_path: Path, bench_study: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "study.toml"
    path.write_text(bench_study, encoding="utf-8")
    monkeypatch.setitem(sys.modules, "gmsh", None)
    with pytest.raises(MeshError):
        execute(plan(load_study(path)), tmp_path / "out", Options())
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_the_longest_case_is_begun_first(tmp_path: Path, bench_study: str) -> None:
    """Or the last worker would still be at it when all others have gone (LPT; Graham, in the 1960s)."""
    study = tomllib.loads(bench_study)
    short = study["constructs"][0]
    study["constructs"] = [short, {**short, "name": "long", "length_mm": 4 * short["length_mm"]}]
    planned = plan(parse_study(study, "bench"))
    ended: list[str] = []
    options = Options(keep="none", pages=False)
    finished = execute(planned, tmp_path / "out", options, lambda _, one: ended.append(one.case.name))
    assert ended == ["long", short["name"]]
    assert [one.case.name for one in finished.outcomes] == [short["name"], "long"]


def test_a_case_that_can_not_be_meshed_is_a_failed_row(
    tmp_path: Path, demo: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any) -> None:
        raise MeshError("no mesh\nafter 4 attempts")

    case = cases(parse_study(demo, "demo"))[1]
    monkeypatch.setattr("pipeline.run.solving.build_mesh", fail)
    outcome = complete_case(case, tmp_path)
    assert outcome.failure == "no mesh after 4 attempts"
    rows = list(rows_of([outcome], tmp_path))
    assert [(row.status, row.construct) for row in rows] == [("failed", case.name)]


def test_a_row_that_fails_a_balance_check_says_so(
    tmp_path: Path, bench_study: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "study.toml"
    path.write_text(bench_study, encoding="utf-8")
    monkeypatch.setattr("pipeline.measures.quality.BALANCE_TOLERANCE", 0.0)
    case = cases(load_study(path))[0]
    outcome = complete_case(case, tmp_path)
    rows = list(rows_of([outcome], tmp_path))
    assert {row.status for row in rows} == {"failed"}
    assert all("balance" in row.reason for row in rows)


def test_every_defect_gets_an_intact_reference(demo: dict[str, Any]) -> None:
    names = [case.name for case in cases(parse_study(demo, "demo"))]
    assert names.count("intact") == 1
    assert "intact-metadiaphysis-3mm" in names
    demo["constructs"] = [c for c in demo["constructs"] if c["kind"] != "intact"]
    names = [case.name for case in cases(parse_study(demo, "demo"))]
    assert {"intact-mid-shaft-3mm", "intact-metadiaphysis-3mm"} <= set(names)


def test_percent_columns_compare_like_with_like(tmp_path: Path, demo: dict[str, Any]) -> None:
    chosen = {c.name: c for c in cases(parse_study(demo, "demo"))}
    stored = {"intact": ("intact", 20.0), "nail-10": ("atrophic", 2.0), "plate": ("atrophic", 4.0)}
    for name, (stage, value) in stored.items():
        with case_folder(tmp_path, chosen[name].address) as folder:
            row = {
                "stage": stage,
                "load": "torsion",
                "quantity": "torsional_stiffness",
                "location": "sections",
                "value": value,
                "status": "ok",
            }
            write_table(folder / "rows.csv", [row], CASE_COLUMNS)
    outcomes = [Outcome(chosen[name], "", 1.0) for name in stored]
    intact, _, plate = related(rows_of(outcomes, tmp_path), [one.case for one in outcomes])
    assert plate.percent_of_intact == pytest.approx(20.0)
    assert plate.percent_of_nail_only == pytest.approx(200.0)
    assert intact.percent_of_nail_only is None


def test_case_identity_follows_its_inputs(demo: dict[str, Any]) -> None:
    case = cases(parse_study(demo, "demo"))[2]
    again = cases(parse_study(demo, "demo"))[2]
    assert case.address == again.address
    assert case.address != replace(case, level="fine").address
    renamed = replace(case, construct=case.construct.model_copy(update={"name": "other"}))
    assert case.address == renamed.address == replace(case, variant="v1").address


def test_plan_lists_findings_of_all_constructs(demo: dict[str, Any]) -> None:
    for construct in demo["constructs"]:
        if construct["kind"] in ("nail", "exchange_nail"):
            construct["nail"] |= {"canal": "void", "bolts": {"distal": 0, "proximal": 0}}
    with pytest.raises(StudyError) as caught:
        plan(parse_study(demo, "demo"))
    lines = str(caught.value).splitlines()
    assert len(lines) == 3
    assert all("no bolt holds it" in line and "slides" in line for line in lines)
