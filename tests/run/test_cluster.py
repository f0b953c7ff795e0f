"""A cluster of two machines: process groups with folders of their own and one shared folder of results.

The scheduler is Dask's own, and the run connects to it as it would to any. Whatever happens, the table
after the same command again is that of an undisturbed run on this machine.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from distributed import Client

from pipeline.cli.shown.results import verdict
from pipeline.errors import EngineError, OutputError
from pipeline.run.engine import Place
from pipeline.run.execute import Finished, Options, execute
from pipeline.run.jobs import Outcome
from pipeline.run.planning import plan
from pipeline.storage.casebook import CASES
from pipeline.study.config import load_study
from tests.kills.commands import ROOT, different
from tests.run.test_faults import HEAD, TUBE

pytestmark = pytest.mark.slow
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
DASK = "distributed.cli.dask_"
MANY = 12


@dataclass
class Cluster:
    """A scheduler, and machines that can be lost."""

    folder: Path
    scheduler: subprocess.Popen[bytes] | None = None
    machines: list[subprocess.Popen[bytes]] = field(default_factory=list)
    number: int = 0

    @property
    def file(self) -> Path:
        return self.folder / f"scheduler-{self.number}.json"

    @property
    def address(self) -> str:
        return str(json.loads(self.file.read_text())["address"])

    def started(
        self, code: Path, home: Path, *words: str, most_bytes: int = 0
    ) -> subprocess.Popen[bytes]:
        """A program of Dask in a process group and folder of its own, with code from somewhere."""

        def limit() -> None:
            if most_bytes:
                resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

        home.mkdir(parents=True, exist_ok=True)
        env = {**os.environ, "PYTHONPATH": str(code), "TMPDIR": str(home)}
        command = [sys.executable, "-m", *words]
        return subprocess.Popen(
            command, env=env, cwd=home, start_new_session=True, preexec_fn=limit, **QUIET
        )

    def schedule(self) -> None:
        self.number += 1
        words = (f"{DASK}scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        words += ("--scheduler-file", str(self.file))
        self.scheduler = self.started(ROOT, self.folder / "scheduler", *words)
        deadline = time.monotonic() + 60
        while not self.file.exists() and time.monotonic() < deadline:
            time.sleep(0.05)

    def join(self, code: Path = ROOT, most_bytes: int = 0) -> None:
        """Let another machine join, and wait until the scheduler knows it."""
        home = self.folder / f"machine-{len(self.machines)}"
        words = (f"{DASK}worker", self.address, "--nthreads", "1", "--no-dashboard")
        words += ("--local-directory", str(home))
        self.machines.append(self.started(code, home, *words, most_bytes=most_bytes))
        alive = sum(one.poll() is None for one in self.machines)
        with Client(self.address, timeout=60) as client:
            client.wait_for_workers(alive, timeout=60)

    def lose(self, process: subprocess.Popen[bytes]) -> None:
        """End a whole machine at once."""
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def end(self) -> None:
        for process in [*self.machines, *([self.scheduler] if self.scheduler else [])]:
            if process.poll() is None:
                self.lose(process)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    made = Cluster(tmp_path / "cluster")
    made.schedule()
    try:
        yield made
    finally:
        made.end()


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("study") / "tubes.toml"
    tubes = [TUBE.format(number=k, outer=10.0 + 0.3 * k) for k in range(MANY)]
    path.write_text(HEAD + "".join(tubes), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def sound(study: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("sound") / "out"
    run(study, out, Place(workers=2))
    return out


def run(study: Path, out: Path, place: Place, lose: object = None) -> Finished:
    """Run a study; lose something after the third case."""
    ended: list[Outcome] = []

    def told(_: object, outcome: Outcome) -> None:
        ended.append(outcome)
        if len(ended) == 3 and callable(lose):
            lose()

    return execute(plan(load_study(study)), out, Options(place, pages=False), told)


def test_a_lost_machine_costs_no_case(study: Path, sound: Path, tmp_path: Path, cluster: Cluster):
    cluster.join()
    cluster.join()
    out = tmp_path / "out"
    ended = run(study, out, Place(scheduler=cluster.address), lambda: cluster.lose(cluster.machines[0]))
    assert not verdict(ended.outcomes)
    assert different(out, sound) == []


def test_a_lost_scheduler_ends_the_run_and_another_goes_on(
    study: Path, sound: Path, tmp_path: Path, cluster: Cluster
):
    cluster.join()
    cluster.join()
    out, scheduler = tmp_path / "out", cluster.scheduler
    assert scheduler is not None
    with pytest.raises(EngineError, match="the scheduler is gone; finished cases are kept"):
        run(study, out, Place(scheduler=cluster.address), lambda: cluster.lose(scheduler))
    for machine in cluster.machines:  # they may still be at work in the folder
        cluster.lose(machine)
    kept = len(list((out / CASES).glob("[0-9a-f]*")))
    assert 3 <= kept < MANY
    cluster.schedule()
    cluster.join()
    ended = run(study, out, Place(scheduler=cluster.address))
    assert sum(one.reused for one in ended.outcomes) == kept
    assert different(out, sound) == []


def test_a_full_shared_disk_ends_the_run_with_a_sentence(
    study: Path, sound: Path, tmp_path: Path, cluster: Cluster
):
    """Only the machine meets the limit, in mid-file, as where the disk that it shares is full."""
    cluster.join(most_bytes=100_000)
    out = tmp_path / "out"
    with pytest.raises(OutputError, match=r"can not be written.*free disk space or choose another"):
        run(study, out, Place(scheduler=cluster.address))
    assert not list((out / CASES).glob("[0-9a-f]*"))
    cluster.lose(cluster.machines[0])
    cluster.join()
    run(study, out, Place(scheduler=cluster.address))
    assert different(out, sound) == []


def other_code(folder: Path, left_out: str = "") -> Path:
    """The program as another machine may have it: a file that computes differs, or one is missing."""
    for room in ("pipeline", "geometries"):
        shutil.copytree(ROOT / room, folder / room, ignore=shutil.ignore_patterns("__pycache__"))
    solving = folder / "pipeline" / "run" / "solving.py"
    solving.write_text(solving.read_text(encoding="utf-8") + "# another version\n", encoding="utf-8")
    if left_out:
        (folder / left_out).unlink()
    return folder


@pytest.mark.parametrize(
    ("left_out", "says"),
    [
        ("", "runs other code than this command: other files of this program; allowed is the same"),
        ("pipeline/run/engine.py", "runs other code than this command: none that fits"),
    ],
)
def test_a_machine_with_other_code_is_refused(
    study: Path, tmp_path: Path, cluster: Cluster, left_out: str, says: str
):
    cluster.join()
    cluster.join(other_code(tmp_path / "other", left_out))
    out = tmp_path / "out"
    with pytest.raises(EngineError, match=says):
        run(study, out, Place(scheduler=cluster.address))
    assert not (out / CASES).exists()


def test_a_machine_with_other_code_that_comes_later_is_refused_too(
    study: Path, tmp_path: Path, cluster: Cluster
):
    """No case of it is kept: what is there was computed by this code."""
    cluster.join()
    out, other = tmp_path / "out", other_code(tmp_path / "other")

    def change() -> None:
        cluster.join(other)
        cluster.lose(cluster.machines[0])

    with pytest.raises(EngineError, match="runs other code than this command: other files"):
        run(study, out, Place(scheduler=cluster.address), change)
    assert 3 <= len(list((out / CASES).glob("[0-9a-f]*"))) < MANY
