"""A tissue stage that can not be solved: it fails alone, and everything that follows leaves it out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import typer
from threadpoolctl import threadpool_limits

from pipeline.cli.commands.run import run
from pipeline.cli.shown.results import verdict
from pipeline.errors import SolveError
from pipeline.output.tables import short_table
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.collect import related, rows_of, write_cases, write_tables
from pipeline.run.jobs import Outcome, complete_case
from pipeline.run.planning import cases, plan
from pipeline.run.record import CASE_COLUMNS
from pipeline.run.solving import run_case
from pipeline.storage.casebook import case_folder, folder_of, read_summary
from pipeline.storage.files import read_table, write_table
from pipeline.study.config import StudyConfig, load_study, parse_study
from pipeline.tables.brackets import bracket_rows
from pipeline.tables.rows import Row
from tests.models import FEW_CELLS, case_of

REASON = "cortex_proximal, nail can slide medially (a mechanism); allowed is none: add bolts"
# Short, with a wide canal: few cells. The proximal half is held by nothing but tissue.
BROKEN = """
schema_version = 1
title = "Broken nail"
defect = { bone_ends = "pass" }
mesh = { level = "coarse" }
stages = [{ name = "empty" }, { name = "woven" }]
loads = [
    { kind = "torsion", name = "twist", moment_nm = 1.0 },
    { kind = "end_force", name = "pull", proximal_n = 100.0 },
]

[[constructs]]
kind = "nail"
name = "broken"

[constructs.nail]
break_mm = 215.0
reaming_mm = 3.0
length_mm = 200.0
distal_end_mm = 115.0
canal = "void"
bolts = { fit = "tied", proximal = 1, distal = 1 }
"""


@pytest.fixture(scope="module")
def ended(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Outcome]:
    """Folder with the study file and results, and how the case ended."""
    out = tmp_path_factory.mktemp("broken")
    (out / "study.toml").write_text(BROKEN, encoding="utf-8")
    case = cases(load_study(out / "study.toml"))[-1]
    assert case.name == "broken"
    with threadpool_limits(1):  # as in a worker; more threads would wait for each other
        outcome = complete_case(case, out)
    write_cases([outcome], related(rows_of([outcome], out), [case]), out)
    return out, outcome


def test_a_broken_nail_fails_over_an_empty_gap_and_stands_over_bone(ended: tuple[Path, Outcome]):
    out, outcome = ended
    assert (outcome.failure, outcome.failed_stages) == ("", ("empty",))
    rows = read_table(out / "results.csv")
    sound = [row for row in rows if row["stage"] != "empty"]
    assert {row["stage"] for row in sound} == {"woven"}
    assert {row["status"] for row in sound} == {"ok"}
    lost = [row for row in rows if row["stage"] == "empty"]
    assert [row["load"] for row in lost] == ["twist", "pull"]
    for row in lost:
        assert row["status"] == "failed"
        assert "cortex_proximal" in row["reason"]
        assert "turn about the shaft (a mechanism)" in row["reason"]
        assert row["quantity"] == row["value"] == row["percent_of_nail_only"] == ""
    assert list(read_summary(out, "broken")["failed_stages"]) == ["empty"]


@pytest.mark.parametrize(
    ("stage", "is_lost"), [("empty", True), pytest.param("woven", False, marks=pytest.mark.slow)]
)
def test_the_command_ends_with_exit_code_1_and_says_which_stage(
    stage: str,
    is_lost: bool,
    ended: tuple[Path, Outcome],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    out, outcome = ended
    stand_in = lambda study: plan(study).only(("broken",))  # noqa: E731
    monkeypatch.setattr("pipeline.cli.commands.run.plan", stand_in)
    monkeypatch.setattr("pipeline.run.execute.complete", lambda *_: [outcome])
    with pytest.raises(typer.Exit) as exit_:
        run(out / "study.toml", out, 1, [f"show.stage={stage}"])
    assert exit_.value.exit_code == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "failed at empty" in said
    assert "broken at stage empty failed: " in said
    assert "1 of 1 case failed in some stages; results.csv says why." in said
    assert (out / "figures" / "broken.png").exists()
    ((_, (first, *_)),) = short_table(out, stage, "pull").lines
    assert (first.value == "failed") == is_lost


# --- Without a mesh ----------------------------------------------------------------------------------


@pytest.fixture
def several() -> StudyConfig:
    """Two stages, one load, a nail as its own reference."""
    return parse_study(
        {
            "schema_version": 1,
            "title": "t",
            "stages": [{"name": "empty"}, {"name": "woven"}],
            "loads": [{"kind": "torsion", "name": "twist", "moment_nm": 1.0}],
            "constructs": [
                {"kind": "nail", "name": "nail", "nail": {"diameter_mm": 10.5}},
                {"kind": "nail", "name": "own", "nail": {"canal": "bracket"}},
            ],
        },
        "t",
    )


def _stored(out: Path, case: Case, values: dict[str, float]) -> Outcome:
    """Write the rows of a case: a value for each stage that was solved, a reason for the others."""
    with case_folder(out, case.address) as folder:
        rows = [
            Row(stage=stage, load="twist", quantity="torsional_stiffness", location="sections",
                value=values[stage])
            if stage in values
            else Row(stage=stage, load="twist", status="failed", reason=REASON)
            for stage in ("empty", "woven")
        ]  # fmt: skip
        write_table(folder / "rows.csv", [row.cells() for row in rows], CASE_COLUMNS)
    return Outcome(case, "", 1.0, tuple({"empty", "woven"} - set(values)))


@pytest.fixture
def table(tmp_path: Path, several: StudyConfig) -> list[Row]:
    """Rows of a nail that lost its empty stage, and of a bracket that lost it once."""
    values = {
        "nail": {"woven": 2.0},
        "own-void": {"woven": 3.0},
        "own-filler": {"empty": 0.5, "woven": 4.0},
        "own-bonded": {"empty": 0.75, "woven": 8.0},
    }
    planned = plan(several).only(values)
    outcomes = [_stored(tmp_path, case, values[case.name]) for case in planned.cases]
    rows = list(related(rows_of(outcomes, tmp_path), planned.cases))
    write_tables(planned, outcomes, rows, tmp_path)
    return rows


def test_percents_skip_a_lost_stage(table: list[Row]) -> None:
    found = {(row.construct, row.stage): row.percent_of_nail_only for row in table}
    assert found["own-void", "woven"] == pytest.approx(150.0)
    assert found["own-void", "empty"] is None
    assert found["own-filler", "empty"] is None  # the reference lost that stage


def test_a_bracket_spans_what_was_solved(several: StudyConfig, table: list[Row]) -> None:
    spans = {row["stage"]: row["span"] for row in bracket_rows(several.constructs, table)}
    assert spans == pytest.approx({"empty": 0.25, "woven": 5.0})


@pytest.mark.usefixtures("table")
def test_short_table_and_reasons_name_the_lost_stage(tmp_path: Path) -> None:
    assert short_table(tmp_path, "woven", "twist").failures == {
        "nail at stage empty": REASON,
        "own-void at stage empty": REASON,
    }
    lines = {stage: short_table(tmp_path, stage, "twist").lines for stage in ("empty", "woven")}
    torsion = {stage: [cells[-1].text for _, cells in found] for stage, found in lines.items()}
    assert torsion == {
        "empty": ["failed", "failed", "0.50", "0.75"],
        "woven": ["2.00", "3.00", "4.00", "8.00"],
    }


def test_a_case_without_any_solution_is_a_failed_case(
    tmp_path: Path, bench_study: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any) -> None:
        raise SolveError(REASON)

    (tmp_path / "study.toml").write_text(bench_study, encoding="utf-8")
    case = cases(load_study(tmp_path / "study.toml"))[0]
    monkeypatch.setattr("pipeline.run.equilibrium.Solver.of", refuse)
    outcome = complete_case(case, tmp_path)
    assert (outcome.failure, outcome.failed_stages) == (REASON, ())
    assert not folder_of(tmp_path, case.address).exists()


def test_any_other_error_fails_the_case(
    tmp_path: Path, bench_study: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any) -> None:
        raise ZeroDivisionError

    (tmp_path / "study.toml").write_text(bench_study, encoding="utf-8")
    monkeypatch.setattr("pipeline.run.equilibrium.Solver.of", refuse)
    with pytest.raises(ZeroDivisionError):
        run_case(cases(load_study(tmp_path / "study.toml"))[0], Clock())


def test_the_verdict_counts_cases_whole_and_in_part(several: StudyConfig) -> None:
    case = cases(several)[0]
    sound, lost, partly = (
        Outcome(case, "", 1.0), Outcome(case, REASON, 0.0), Outcome(case, "", 1.0, ("empty",)),
    )  # fmt: skip
    assert verdict([sound]) == ""
    assert verdict([sound, lost]) == "1 of 2 cases failed; results.csv says why."
    assert verdict([sound, partly]) == "1 of 2 cases failed in some stages; results.csv says why."
    assert verdict([lost, partly, partly]).startswith("1 of 3 cases failed and 2 more in")


# --- A load that nothing holds -----------------------------------------------------------------------

PRESSED: list[dict[str, Any]] = [
    {"kind": "end_force", "name": "press", "proximal_n": -100.0},
    {"kind": "end_force", "name": "pull", "proximal_n": 100.0},
]


@pytest.mark.slow
def test_a_load_that_nothing_holds_fails_alone() -> None:
    # Statics: over an empty gap a nail without bolts keeps the bone ends in line, and they bear on each
    # other; pulled apart, nothing holds them. So no play lies between a load and its opposite either.
    nail = {**FEW_CELLS, "canal": "contact", "bolts": {"proximal": 0, "distal": 0}}
    defect = {"gap_mm": 1.0, "bone_ends": "contact"}
    construct = {"kind": "nail", "name": "n", "nail": nail, "defect": defect}
    found = run_case(case_of(construct, "coarse", ("empty",), PRESSED), Clock())
    assert set(found.failures) == {("empty", "pull")}
    assert "no stop and no tissue holds it" in found.failures["empty", "pull"]
    values = {(row.load, row.measure.quantity, row.measure.location): row.measure.value
              for row in found.rows}  # fmt: skip
    assert {load for load, _, _ in values} == {"press"}
    assert not {name for _, name, _ in values if name.startswith("free_")}
    assert values["press", "gap_axial_movement", "centre"] == pytest.approx(-1.0, abs=0.03)
    assert values["press", "contact_force", "bone_ends"] >= 100.0 * (1 - 1e-6)
    assert set(found.point_fields) == {"displacement_mm:empty:press"}
