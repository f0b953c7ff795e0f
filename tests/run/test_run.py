"""The commands as a person types them: results, refusals, exit codes, nothing half-written."""

from __future__ import annotations

import ctypes
import errno
import os
import signal
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import meshio
import pytest

from geometries.assembly import assemble
from geometries.errors import StudyError
from pipeline.errors import MeshError, OutputError
from pipeline.fem.meshing import mesher
from pipeline.run.collect import related, rows_of
from pipeline.run.execute import Options, execute
from pipeline.run.jobs import Outcome, complete_case
from pipeline.run.planning import cases, plan
from pipeline.run.record import CASE_COLUMNS
from pipeline.storage.casebook import case_folder, case_of, read_summary
from pipeline.storage.files import check_writable, read_table, write_table
from pipeline.study.config import load_study, parse_study

ROOT = Path(__file__).parents[2]


def gapstrain(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "COLUMNS": "160"},
    )


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Output folder and printed text of a small run."""
    folder = tmp_path_factory.mktemp("run")
    text = """
schema_version = 1
title = "Two tubes"
mesh = { level = "coarse" }
stages = [{ name = "empty" }]
loads = [{ kind = "end_force", name = "pull", proximal_n = 100.0 }]
[[constructs]]
kind = "specimen"
name = "thin"
length_mm = 40.0
section_inset_mm = 10.0
layers = [{ outer_diameter_mm = 10.0, inner_diameter_mm = 6.0, material = "steel" }]
"""
    (folder / "tube.toml").write_text(text, encoding="utf-8")
    done = gapstrain("run", str(folder / "tube.toml"), "--out", str(folder / "out"))
    assert done.returncode == 0, done.stderr
    return folder / "out", done.stdout


def test_run_writes_a_tidy_table_with_checks(finished: tuple[Path, str]) -> None:
    rows = read_table(finished[0] / "results.csv")
    assert {row["status"] for row in rows} == {"ok"}
    stiffness = next(row for row in rows if row["quantity"] == "axial_stiffness")
    # EA / L between the sections, statics; the mesh and the clamp are worth under 0.5 %.
    expected = 193_000 * 3.141593 / 4 * (10**2 - 6**2) / 20
    assert float(stiffness["value"]) == pytest.approx(expected, rel=5e-3)
    assert stiffness["unit"] == "N/mm"
    for check in ("force_residual", "moment_residual", "energy_residual"):
        assert 0 <= float(stiffness[check]) < 1e-6
    assert float(stiffness["volume_error"]) < 1e-3


def test_run_leaves_a_dictionary_pictures_and_fields(finished: tuple[Path, str]) -> None:
    out, _ = finished
    described = {row["quantity"] for row in read_table(out / "dictionary.csv")}
    assert {row["quantity"] for row in read_table(out / "results.csv")} <= described
    assert (out / "figures" / "overview.png").stat().st_size > 10_000
    fields = meshio.read(case_of(out, "thin") / "fields.vtu")
    assert fields.cells[0].type == "tetra10"
    assert "displacement_mm:intact:pull" in fields.point_data
    summary = read_summary(out, "thin")
    assert summary["facts"]["unknowns"] == 3 * len(fields.points)
    assert [path.name for path in (out / "cases").iterdir()] == [case_of(out, "thin").name]


def test_run_prints_the_caution(finished: tuple[Path, str]) -> None:
    words = " ".join(finished[1].split())
    assert "not a medical device" in words
    assert "licensed clinicians" in words


def test_check_prints_a_plan_and_solves_nothing(tmp_path: Path) -> None:
    done = gapstrain("check", "configs/demo.toml")
    assert done.returncode == 0, done.stderr
    for name in ("nail-10-plate", "exchange-nail-12", "intact-metadiaphysis-3mm", "7 meshes"):
        assert name in done.stdout
    assert not list(tmp_path.iterdir())


def test_draw_makes_a_picture_of_every_construct_without_solving(tmp_path: Path) -> None:
    done = gapstrain("draw", "configs/demo.toml", "--out", str(tmp_path))
    assert done.returncode == 0, done.stderr
    drawn = {path.name for path in (tmp_path / "drawings").iterdir()}
    assert {"nail-10-plate.svg", "nail-10-plate.png", "intact.svg"} <= drawn
    assert "Research and teaching only" in done.stdout


def test_help_speaks_to_a_person() -> None:
    for words in ((), ("check",), ("run",)):
        done = gapstrain(*words, "--help")
        assert done.returncode == 0
        assert "study" in done.stdout.lower() or "fixation" in done.stdout


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("constructs.1.nail.diameter_mm=30", ("diameter_mm = 30", "15")),
        ("constructs.3.plate.screws.cortices=bicortical", ()),
        ("constructs.4.plate.screws.cortices=bicortical", ("hits the nail", "unicortical")),
        ("constructs.4.plate.shift_mm=115", ("plate",)),
        ("defect.site_percent=95", ("defect.site_percent = 95", "80")),
        ("mesh.level=superfine", ("mesh.level", "coarse")),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(change: str, words: tuple[str, ...]) -> None:
    done = gapstrain("check", "configs/demo.toml", "--set", change)
    if not words:
        assert done.returncode == 0, done.stderr
        return
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    for word in words:
        assert word in done.stderr


def test_output_folder_that_can_not_be_made(tmp_path: Path, bench_study: str) -> None:
    (tmp_path / "study.toml").write_text(bench_study, encoding="utf-8")
    (tmp_path / "file").write_text("in the way")
    done = gapstrain("run", str(tmp_path / "study.toml"), "--out", str(tmp_path / "file" / "out"))
    assert done.returncode == 2
    assert "can not be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "file").read_text() == "in the way"


def test_full_disk_leaves_nothing_half_written(tmp_path: Path) -> None:
    def write_partly() -> None:
        with case_folder(tmp_path, "a") as folder:
            (folder / "rows.csv").write_text("partly")
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OutputError, match="free disk space"):
        write_partly()
    assert not list((tmp_path / "cases").iterdir())


def test_a_finished_case_survives_a_failed_rewrite(tmp_path: Path) -> None:
    with case_folder(tmp_path, "a") as folder:
        (folder / "rows.csv").write_text("good")
    with pytest.raises(OutputError), case_folder(tmp_path, "a"):
        raise OSError(errno.ENOSPC, "No space left on device")
    assert (tmp_path / "cases" / "a" / "rows.csv").read_text() == "good"


def test_table_is_whole_or_not_there(tmp_path: Path) -> None:
    def rows() -> Any:
        yield {"a": 1.0}
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OutputError, match="free disk space"):
        write_table(tmp_path / "t.csv", rows(), ("a",))
    assert not list(tmp_path.iterdir())


def test_unwritable_folder_is_refused_before_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "write_text", refuse)
    with pytest.raises(OutputError, match="Permission denied"):
        check_writable(tmp_path)


def test_missing_gmsh_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gmsh", None)
    with pytest.raises(MeshError, match="gmsh can not be loaded"):
        mesher.require_gmsh()


def test_a_broken_pipe_stays_an_error_after_meshing(bench_study: str) -> None:
    # Python ignores SIGPIPE, so that a write to a socket that is gone raises. gmsh undoes that: a run
    # that lost a worker died without a word.
    case = cases(parse_study(tomllib.loads(bench_study), "tubes"))[0]
    mesher.build_mesh(assemble(case.construct, case.femur, case.defect), "coarse")
    ignored = ctypes.pythonapi.PyOS_getsig
    ignored.restype = ctypes.c_void_p
    assert ignored(signal.SIGPIPE) == signal.SIG_IGN


def test_run_refuses_before_any_file_when_gmsh_is_missing(
    tmp_path: Path, bench_study: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "study.toml"
    path.write_text(bench_study, encoding="utf-8")
    monkeypatch.setitem(sys.modules, "gmsh", None)
    with pytest.raises(MeshError):
        execute(plan(load_study(path)), tmp_path / "out", Options())
    assert not (tmp_path / "out").exists()


def test_the_longest_case_is_begun_first(tmp_path: Path, bench_study: str) -> None:
    """Or the last worker would still be at it when all others have gone (Graham 1969, from memory)."""
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
    rows = rows_of([outcome], tmp_path)
    assert [(row.status, row.construct) for row in rows] == [("failed", case.name)]


def test_a_row_that_fails_a_balance_check_says_so(
    tmp_path: Path, bench_study: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "study.toml"
    path.write_text(bench_study, encoding="utf-8")
    monkeypatch.setattr("pipeline.measures.quality.BALANCE_TOLERANCE", 0.0)
    case = cases(load_study(path))[0]
    outcome = complete_case(case, tmp_path)
    rows = rows_of([outcome], tmp_path)
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
            construct["nail"]["bolts"] = {"distal": 0, "proximal": 0}
    with pytest.raises(StudyError) as caught:
        plan(parse_study(demo, "demo"))
    lines = str(caught.value).splitlines()
    assert len(lines) == 3
    assert all("no bolt holds it" in line and "slides" in line for line in lines)
