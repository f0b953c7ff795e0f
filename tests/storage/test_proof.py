"""A run's folder is held against its checksums: no byte of it is another without being noticed."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from geometries.errors import StudyError
from pipeline.cli.commands.export import export
from pipeline.cli.commands.report import report
from pipeline.door import gapstrain
from pipeline.sharing.bundle import bundle
from pipeline.sharing.opening import opened
from pipeline.sharing.reproduction import compared
from pipeline.storage.casebook import fault_of
from pipeline.storage.checksums import read_checksums
from pipeline.storage.files import check_writable, write_text
from pipeline.storage.proof import PROOF, prove, seal
from tests.runs import write_run

TRIALS = 200
FREE = ("report.html", "notes.csv")  # made from the rest, or a person's own


@pytest.fixture
def run(tmp_path: Path) -> Path:
    out = write_run(tmp_path / "run")
    for name in FREE:
        (out / name).write_text("mine")
    seal(out)
    return out


def flipped(path: Path, chance: np.random.Generator) -> bytes:
    """Change one byte of a file and return what it was."""
    before = path.read_bytes()
    at, by = int(chance.integers(len(before))), int(chance.integers(1, 256))
    path.write_bytes(before[:at] + bytes([before[at] ^ by]) + before[at + 1 :])
    return before


def noticed(run: Path) -> bool:
    """Whether the folder, or one of its cases, is known not to be whole."""
    if any(fault_of(run, case.name) for case in run.glob("cases/*")):
        return True
    try:
        prove(run)
    except StudyError:
        return True
    return False


def test_any_other_byte_is_noticed_or_without_effect(run: Path):
    """Definition of a checksum; a mark between sum and name, or an end of a line, says nothing."""
    assert not noticed(run)
    chance, counts = np.random.default_rng(6), Counter[str]()
    files = [path for path in sorted(run.rglob("*")) if path.is_file()]
    for _ in range(TRIALS):
        path = files[chance.integers(len(files))]
        said = read_checksums(path) if path.name.endswith("checksums.txt") else None
        before = flipped(path, chance)
        if noticed(run):
            counts["noticed"] += 1
        elif said is not None:
            assert read_checksums(path) == said
            counts["without effect"] += 1
        else:
            assert path.name in FREE
            counts["free"] += 1
        path.write_bytes(before)
    assert counts["noticed"] > TRIALS / 2
    assert not noticed(run)


READERS: dict[str, Callable[[Path, Path], object]] = {
    "compare": lambda run, _: compared(run, run),
    "bundle": lambda run, spare: bundle(run, spare / "x.zip"),
    "report": lambda run, _: report(run),
    "export": lambda run, _: export(run),
    "notebook": lambda run, _: gapstrain.open(run),
}


@pytest.mark.parametrize(
    "name", ["results.csv", "comparisons.csv", "inputs.json", "figures/overview.png"]
)
@pytest.mark.parametrize("reader", READERS)
def test_whoever_reads_a_folder_refuses_another_byte(run: Path, tmp_path: Path, reader: str, name: str):
    flipped(run / name, np.random.default_rng(3))
    with pytest.raises(StudyError, match=rf"{name}: not what the run wrote.* run the study again"):
        READERS[reader](run, tmp_path)
    (run / name).unlink()
    with pytest.raises(StudyError, match=f"'{name}' is missing; run the study again"):
        READERS[reader](run, tmp_path)


def test_another_record_of_a_case_is_refused(run: Path):
    flipped(next(run.glob("cases/*/summary.json")), np.random.default_rng(3))
    with pytest.raises(StudyError, match=r"summary\.json: (not what the run wrote|can not be read)"):
        compared(run, run)


def test_a_sealed_run_is_proved_in_its_bundle_too(run: Path, tmp_path: Path):
    into = opened(bundle(run, tmp_path / "x.zip"), tmp_path / "new")
    assert read_checksums(into / PROOF) == read_checksums(run / PROOF)
    assert "results.csv" in read_checksums(into / PROOF)


def test_a_seal_names_what_the_run_wrote_and_no_more(run: Path):
    assert set(read_checksums(run / PROOF)) == {
        "study.toml", "inputs.json", "cases.csv", "results.csv", "results.parquet", "comparisons.csv",
        "dictionary.csv", "figures/overview.png",
    }  # fmt: skip


@pytest.mark.parametrize("place", ["results.csv", "figures", "cases", "more/link"])
def test_a_link_in_a_folder_is_refused(run: Path, tmp_path: Path, place: str):
    elsewhere = shutil.copytree(run, tmp_path / "elsewhere")
    (run / "more").mkdir()
    path = run / place
    if path.is_dir():
        shutil.rmtree(path)
    path.unlink(missing_ok=True)
    path.symlink_to(elsewhere / place)
    for read in (prove, check_writable, lambda folder: bundle(folder, tmp_path / "x.zip")):
        with pytest.raises(StudyError, match=f"{place}: is a link or a device.* remove it"):
            read(run)
    assert not (tmp_path / "x.zip").exists()


def test_nothing_is_written_through_a_link(tmp_path: Path):
    mine, out = tmp_path / "mine.txt", tmp_path / "out"
    mine.write_text("mine")
    out.mkdir()
    for name in (".page.html.part", ".probe"):
        (out / name).symlink_to(mine)
    write_text(out / "page.html", "text")
    assert (mine.read_text(), (out / "page.html").read_text()) == ("mine", "text")
    with pytest.raises(StudyError, match=r"\.probe: is a link"):
        check_writable(out)
    assert mine.read_text() == "mine"


def test_a_folder_that_is_none_is_a_sentence(tmp_path: Path):
    with pytest.raises(StudyError, match="no such folder; give that of a finished run"):
        prove(tmp_path / "nowhere")
