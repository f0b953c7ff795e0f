"""The commands as a person types them: results, refusals, exit codes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import meshio
import pyarrow.parquet
import pytest

from pipeline.cli import main
from pipeline.storage.casebook import case_of, read_summary
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import read_table
from pipeline.tables.flagged import FOOTNOTE, MARK
from tests.runs import write_run

ROOT = Path(__file__).parents[2]
TWO = """
schema_version = 1
title = "Two pictures"
stages = [{ name = "empty" }]
loads = [{ kind = "hip_force", name = "stance", force_n = 700.0 }]
constructs = [{ kind = "intact", name = "intact" }, { kind = "nail", name = "nail-10" }]
"""
Says = Callable[..., tuple[int, str, str]]


def gapstrain(*words: str, folder: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, as an installation starts it."""
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "COLUMNS": "160", "PYTHONPATH": str(ROOT)},
    )


@pytest.fixture
def says(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Says:
    """The same command in this process: exit code, words and refusal, each on one line."""

    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["gapstrain", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return int(ended.value.code or 0), " ".join(said.out.split()), " ".join(said.err.split())

    return run


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


def test_tables_and_inputs_of_a_run_carry_the_caution(finished: tuple[Path, str]) -> None:
    """Read as others do: Parquet by its own library, the rest as text."""
    out, _ = finished
    said = {row["quantity"]: row["definition"] for row in read_table(out / "dictionary.csv")}
    assert next(iter(said)) == "caution"
    assert (said["caution"], said[MARK]) == (CAUTION, FOOTNOTE)
    metadata = pyarrow.parquet.read_schema(out / "results.parquet").metadata
    assert metadata[b"caution"].decode() == CAUTION
    assert metadata[MARK.encode()].decode() == FOOTNOTE
    assert json.loads((out / "inputs.json").read_text(encoding="utf-8"))["caution"] == CAUTION


def test_run_prints_the_caution(finished: tuple[Path, str]) -> None:
    words = " ".join(finished[1].split())
    assert "not a medical device" in words
    assert "licensed clinicians" in words


@pytest.mark.parametrize(
    "words",
    [
        ("check", "configs/demo.toml"),
        ("changes", "configs/demo.toml", "configs/gaps.toml"),
        ("new",),
        ("new", "mine", "--question", "stem", "--out", "{folder}/mine.toml"),
        ("compare", "{folder}/run", "{folder}/run"),
    ],
    ids=lambda words: " ".join(words[:2]),
)
def test_commands_that_solve_nothing_print_the_caution_too(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, says: Says
) -> None:
    monkeypatch.chdir(ROOT)
    write_run(tmp_path / "run")
    code, said, _ = says(*(word.format(folder=tmp_path) for word in words))
    assert code == (2 if words == ("new",) else 0)  # without a question it says what to do
    assert said.endswith(CAUTION)


def test_a_file_of_changes_ends_with_the_caution(tmp_path: Path, says: Says) -> None:
    studies = (ROOT / "configs" / f"{name}.toml" for name in ("demo", "gaps"))
    says("changes", *studies, "--out", tmp_path / "changes.txt")
    assert (tmp_path / "changes.txt").read_text(encoding="utf-8").endswith(f"\n\n{CAUTION}\n")


def test_check_prints_a_plan_and_solves_nothing(tmp_path: Path) -> None:
    done = gapstrain("check", str(ROOT / "configs" / "demo.toml"), folder=tmp_path)
    assert done.returncode == 0, done.stderr
    for name in ("nail-10-plate", "exchange-nail-12", "intact-metadiaphysis-3mm", "6 meshes"):
        assert name in done.stdout
    assert not list(tmp_path.iterdir())


def test_draw_makes_a_picture_of_every_construct_without_solving(tmp_path: Path, says: Says) -> None:
    study = tmp_path / "two.toml"
    study.write_text(TWO, encoding="utf-8")
    code, said, _ = says("draw", study, "--out", tmp_path)
    assert code == 0
    drawn = {path.name for path in (tmp_path / "drawings").iterdir()}
    assert drawn == {"nail-10.svg", "nail-10.png", "intact.svg", "intact.png"}
    assert "Research and teaching only" in said


@pytest.mark.parametrize("words", [(), ("check",), ("run",)])
def test_help_speaks_to_a_person(words: tuple[str, ...], says: Says) -> None:
    code, said, _ = says(*words, "--help")
    assert code == 0
    assert "study" in said.lower() or "fixation" in said


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
def test_bad_input_is_one_sentence_and_exit_code_2(
    change: str, words: tuple[str, ...], says: Says
) -> None:
    code, _, refused = says("check", ROOT / "configs" / "demo.toml", "--set", change)
    if not words:
        assert code == 0, refused
        return
    assert code == 2
    assert "Traceback" not in refused
    for word in words:
        assert word in refused


def test_output_folder_that_can_not_be_made(tmp_path: Path, bench_study: str, says: Says) -> None:
    (tmp_path / "study.toml").write_text(bench_study, encoding="utf-8")
    (tmp_path / "file").write_text("in the way")
    code, _, refused = says("run", tmp_path / "study.toml", "--out", tmp_path / "file" / "out")
    assert code == 2
    assert "can not be written" in refused
    assert "Traceback" not in refused
    assert (tmp_path / "file").read_text() == "in the way"
