"""What may go wrong in a night: after the same command again, the table is that of an undisturbed run.

The study is six short tubes, so that a run takes seconds; the commands are those a person types.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from geometries.solids import Geometry
from pipeline.cli import main
from pipeline.errors import OutputError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.meshing.sizes import Level
from pipeline.run import jobs, solving
from pipeline.run.case import Case
from pipeline.run.engine import Place
from pipeline.run.execute import Options, execute
from pipeline.run.jobs import Outcome, complete_case, share_mesh
from pipeline.run.planning import plan
from pipeline.storage.casebook import CASES, CHECKSUMS, FIELDS, INDEX, ROWS, SUMMARY, locked
from pipeline.storage.files import read_table
from pipeline.study.config import load_study
from tests.kills.commands import ROOT, arguments, command, different, leftovers

TUBE = """
[[constructs]]
kind = "specimen"
name = "tube-{number}"
length_mm = 40.0
section_inset_mm = 10.0
layers = [{{ outer_diameter_mm = {outer}, inner_diameter_mm = 6.0, material = "steel" }}]
"""
HEAD = """
schema_version = 1
title = "Six tubes"
mesh = { level = "coarse" }
stages = [{ name = "empty" }]
loads = [
    { kind = "end_force", name = "pull", proximal_n = 100.0 },
    { kind = "torsion", name = "twist", moment_nm = 1.0 },
]
"""
KILLS, AFRESH, SEED, MANY = 20, 5, 11, 60


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("study") / "tubes.toml"
    tubes = [TUBE.format(number=k, outer=10.0 + 0.7 * k) for k in range(6)]
    path.write_text(HEAD + "".join(tubes), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def sound(study: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of an undisturbed run, without its pictures and pages."""
    out = tmp_path_factory.mktemp("sound") / "out"
    again(study, out)
    return out


def again(study: Path, out: Path) -> tuple[Outcome, ...]:
    """What the command runs, in this process, but for the workers; how its cases ended."""
    options = Options(Place(workers=2), pages=False)
    return execute(plan(load_study(study)), out, options).outcomes


def same_tables(out: Path, sound: Path) -> bool:
    """Whether all tables are, value for value, those of the undisturbed run."""
    return not different(out, sound)


# --- Work that hangs ---------------------------------------------------------------------------------


def mesh_or_hang(geometry: Geometry, level: Level) -> Mesh:
    """Mesh, but never come back from the tube of 12.1 mm."""
    if any(abs(2 * part.pieces[0].solid.radius - 12.1) < 1e-9 for part in geometry.parts):
        time.sleep(10**6)
    return build_mesh(geometry, level)


def complete_or_hang(case: Case, out: Path, keep: str) -> Outcome:
    """What a worker does, with a mesher that may hang."""
    solving.build_mesh = mesh_or_hang
    return complete_case(case, out, keep)


def share_or_hang(case: Case, out: Path) -> None:
    jobs.build_mesh = mesh_or_hang
    share_mesh(case, out)


@pytest.mark.slow
def test_a_mesher_that_hangs_is_a_failed_row_and_all_else_goes_on(
    study: Path, sound: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    # Definition: five of six finish; the sixth says its limit and how to raise it, and later runs.
    out, planned = tmp_path / "out", plan(load_study(study))
    options = Options(Place(workers=2, minutes=0.25), pages=False)
    with monkeypatch.context() as patched:
        patched.setattr("pipeline.run.complete.complete_case", complete_or_hang)
        began = time.monotonic()
        ended = execute(planned, out, options).outcomes
    assert [one.case.name for one in ended if one.failure] == ["tube-3"]
    assert len(ended) == 6
    assert 15 < time.monotonic() - began < 60
    (row,) = [row for row in read_table(out / "results.csv") if row["status"] == "failed"]
    assert row["construct"] == "tube-3"
    assert row["reason"].startswith(
        "its mesh took longer than the 15 s that it may take, so its worker"
    )
    assert "allow more by --time-limit 2 (minutes, " in row["reason"]
    assert "in mesh_or_hang" in (out / "logs" / "tube-3.hung.txt").read_text()
    assert not [one for one in again(study, out) if one.failure]
    assert same_tables(out, sound)
    assert not list((out / "logs").glob("*.hung.txt"))


@pytest.mark.slow
def test_cases_whose_mesh_hangs_fail_with_it_and_do_not_mesh_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    # Definition: two materials of one tube share a mesh; it is tried once, for the limit and no more.
    path = tmp_path / "shared.toml"
    steel = TUBE.format(number="one", outer=12.1)
    tubes = [steel, steel.replace("one", "other").replace("steel", "titanium")]
    path.write_text(HEAD + "".join([*tubes, TUBE.format(number=0, outer=10.0)]), encoding="utf-8")
    monkeypatch.setattr("pipeline.run.complete.share_mesh", share_or_hang)
    monkeypatch.setattr("pipeline.run.complete.complete_case", complete_or_hang)
    options = Options(Place(workers=2, minutes=0.25), pages=False)
    ended = execute(plan(load_study(path)), tmp_path / "out", options).outcomes
    assert [bool(one.failure) for one in ended] == [True, True, False]
    assert all("its mesh took longer than the 15 s" in one.failure for one in ended[:2])
    assert len(list((tmp_path / "out" / "logs").glob("*.hung.txt"))) == 1


# --- Files that are not what they were ---------------------------------------------------------------


def corrupt(folder: Path) -> None:
    """Turn one digit of one value."""
    text = (folder / ROWS).read_text()
    place = text.index("von_mises") + 20
    digit = next(k for k in range(place, len(text)) if text[k].isdigit())
    (folder / ROWS).write_text(text[:digit] + str(9 - int(text[digit])) + text[digit + 1 :])


def truncate(folder: Path) -> None:
    os.truncate(folder / FIELDS, (folder / FIELDS).stat().st_size // 2)


def make_unreadable(folder: Path) -> None:
    """A folder in a file's place: unlike lost permissions it stops the superuser too."""
    (folder / SUMMARY).unlink()
    (folder / SUMMARY).mkdir()


def lose_checksums(folder: Path) -> None:
    (folder / CHECKSUMS).unlink()


def set_clock_back(folder: Path) -> None:
    """Files from the future, as they seem once the clock has been set back by ten years."""
    for file in folder.iterdir():
        os.utime(file, (time.time() + 3e8, time.time() + 3e8))


HARM: dict[str, Callable[[Path], None]] = {
    "tube-0": corrupt, "tube-1": truncate, "tube-2": make_unreadable, "tube-3": lose_checksums,
    "tube-4": set_clock_back,
}  # fmt: skip
STILL_SOUND = {"tube-4", "tube-5"}


def test_what_is_not_as_it_was_written_is_run_again(study: Path, sound: Path, tmp_path: Path):
    # Definition: harmed cases run again, all others do not, whatever the clock says.
    out = tmp_path / "out"
    shutil.copytree(sound, out)
    where = {row["construct"]: row["case"] for row in read_table(out / INDEX)}
    for name, harm in HARM.items():
        harm(out / CASES / where[name])
    (out / CASES / ".draft-of-a-killed-run").mkdir()
    ended = again(study, out)
    assert {one.case.name for one in ended if one.reused} == STILL_SOUND
    assert len(ended) == 6
    assert same_tables(out, sound)
    assert not leftovers(out)


def test_two_runs_in_one_folder(
    study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    # Definition: the second says so at once and touches nothing.
    monkeypatch.setattr(sys, "argv", arguments(study, tmp_path)[2:])
    with locked(tmp_path), pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "another run is at work in this folder; wait for its end" in said
    assert [path.name for path in tmp_path.iterdir()] == [".lock"]


def test_a_lock_goes_with_its_process(tmp_path: Path):
    # Definition: what a killed run leaves does not shut its folder.
    holds = (
        f"from pathlib import Path; from pipeline.storage.casebook import locked; import os, signal\n\
with locked(Path({str(tmp_path)!r})): os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", holds], cwd=ROOT, check=False)
    assert killed.returncode == -signal.SIGKILL
    with locked(tmp_path):
        pass


@pytest.mark.slow
def test_a_full_disk_ends_the_run_with_a_sentence(study: Path, sound: Path, tmp_path: Path):
    # The limit refuses a write in mid-file, as a full disk does; fields are the first to meet it.
    done = command(study, tmp_path / "out", RLIMIT_FSIZE=100_000)
    assert done.returncode == 2
    assert "can not be written" in done.stderr
    assert "free disk space or choose another --out" in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
    assert not list((tmp_path / "out" / CASES).iterdir())
    assert command(study, tmp_path / "out").returncode == 0
    assert same_tables(tmp_path / "out", sound)


@pytest.mark.slow
def test_killed_at_random_moments(study: Path, sound: Path, tmp_path: Path):
    # SIGKILL to the run alone: its workers must see that it is gone, and the next run must go on.
    random = np.random.default_rng(SEED)
    finished, whole = [], 0.0
    for number in range(KILLS):
        if number % AFRESH == 0:  # a machine that others use is not as fast for long
            started = time.monotonic()
            assert command(study, tmp_path / f"whole-{number}").returncode == 0
            whole = time.monotonic() - started
        out = tmp_path / f"killed-{number}"
        process = subprocess.Popen(arguments(study, out), cwd=ROOT)
        time.sleep(random.uniform(0.2, 1.0) * whole)
        process.kill()
        process.wait()
        finished.append(len(list((out / CASES).glob("[0-9a-f]*"))) if out.exists() else 0)
        assert command(study, out).returncode == 0
        assert same_tables(out, sound), f"kill {number}"
        assert not leftovers(out)
    assert len(set(finished)) > 2  # the moments did differ


@pytest.mark.slow
def test_a_worker_out_of_memory_is_a_failed_row_and_then_a_sound_one(tmp_path: Path):
    # A femur takes more than half a gigabyte, a tube does not.
    path, text = tmp_path / "femur.toml", HEAD.replace("end_force", "hip_force")
    text = text.replace("proximal_n", "force_n").replace('"empty"', '"woven"')
    path.write_text(text + '[[constructs]]\nkind = "intact"\nname = "intact"\n', encoding="utf-8")
    done = command(path, tmp_path / "out", "--memory", "0.5")
    assert done.returncode == 1
    (row,) = read_table(tmp_path / "out" / "results.csv")
    assert (row["construct"], row["status"]) == ("intact", "failed")
    assert "want of memory (0.5 GB each)" in row["reason"]
    assert command(path, tmp_path / "out").returncode == 0
    assert command(path, tmp_path / "sound").returncode == 0
    assert same_tables(tmp_path / "out", tmp_path / "sound")


@pytest.mark.slow
def test_two_runs_at_once_for_real(study: Path, sound: Path, tmp_path: Path):
    out = tmp_path / "out"
    first = subprocess.Popen(arguments(study, out), cwd=ROOT)
    while not (out / ".lock").exists():
        time.sleep(0.05)
    assert command(study, out).returncode == 2
    assert first.wait() == 0
    assert same_tables(out, sound)


def hear_ctrl_c() -> None:
    """Undo what a shell does to a job in the background, tests among them: it hears no Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.slow
def test_ctrl_c_keeps_what_is_finished(tmp_path: Path):
    # SIGINT to the whole group, as a terminal sends it, with far more to do than can be done by then.
    study, out = tmp_path / "many.toml", tmp_path / "out"
    tubes = [TUBE.format(number=k, outer=10.0 + 0.05 * k) for k in range(MANY)]
    study.write_text(HEAD + "".join(tubes), encoding="utf-8")
    process = subprocess.Popen(
        arguments(study, out),
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=hear_ctrl_c,
    )
    while (
        len(list((out / CASES).glob("[0-9a-f]*"))) < 4
    ):  # so that at least one of two workers' is told
        time.sleep(0.05)
        assert process.poll() is None
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    found = re.search(  # a worker may have its last word before
        r"stopped after (\d+) of 60 cases; they are kept: run the same command again to go on",
        " ".join(said.split()),
    )
    assert found
    assert 0 < int(found[1]) < MANY
    options = Options(Place(workers=2), pages=False)
    ended = execute(plan(load_study(study)), out, options).outcomes
    assert int(found[1]) <= sum(one.reused for one in ended) < MANY
    assert len(ended) == MANY
    assert not [one for one in ended if one.failure]


def test_a_folder_that_is_in_use_is_said_to_a_caller(study: Path, tmp_path: Path):
    script = f"from pathlib import Path; from pipeline.storage.casebook import locked; import sys\n\
with locked(Path({str(tmp_path)!r})): print('held', flush=True); sys.stdin.read()"
    holder = subprocess.Popen(
        [sys.executable, "-c", script], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout is not None
    holder.stdout.readline()
    with pytest.raises(OutputError, match="another run is at work"):
        execute(plan(load_study(study)), tmp_path, Options())
    holder.communicate()
