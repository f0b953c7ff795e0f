"""Jobs in worker processes: what they return, raise and survive, here and with a scheduler outside."""

from __future__ import annotations

import ctypes
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import urlopen

import psutil
import pytest
from distributed import Client

from geometries.errors import StudyError
from pipeline.errors import EngineError, MeshError
from pipeline.run.clock import Clock
from pipeline.run.engine import Job, Lost, Place, pool, results
from pipeline.run.watch import REST, StepLimit

TWO = Place(workers=2)
Run = Callable[[list[Job]], dict[str, object]]


def double(number: int) -> int:
    return 2 * number


def write_then_read(path: Path, text: str) -> str:
    before = path.read_text() if path.exists() else ""
    path.write_text(before + text)
    return before


def refuse(number: int) -> None:
    raise MeshError(f"no mesh {number}", ("bolt",))


def stumble() -> None:
    raise ZeroDivisionError("a fault of ours")


def die_once(mark: Path) -> str:
    """Kill the own process as the kernel does when memory ends, the first time."""
    if not mark.exists():
        mark.write_text("")
        os.kill(os.getpid(), signal.SIGKILL)
    return "survived"


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def fill_memory() -> int:
    held = []
    for _ in range(4000):
        held.append(bytearray(os.urandom(1_000_000)))
        time.sleep(0.002)
    return len(held)


def hang(folder: Path, *, in_python: bool) -> None:
    """Mesh forever, in a call that never comes back to Python or in one that does; say who does."""
    (folder / f"{os.getpid()}").write_text("")
    with Clock()("geometry"):
        pass
    with Clock()("mesh"):
        while in_python:
            pass
        time.sleep(10**6)


def hold_the_lock(folder: Path) -> None:
    """Hang in C and let no other thread of Python run."""
    (folder / f"{os.getpid()}").write_text("")
    with Clock()("solve"):
        ctypes.PyDLL(None).sleep(10**6)


def take_steps(count: int, seconds: float) -> int:
    """Take long in all, but not at any step."""
    clock = Clock()
    for _ in range(count):
        with clock("solve"):
            time.sleep(seconds)
    return count


def slow(folder: Path, number: int) -> int:
    (folder / f"{number}-{os.getpid()}").write_text("")
    time.sleep(0.2)
    return number


def nap(seconds: float) -> int:
    """Sleep and say which process did."""
    time.sleep(seconds)
    return os.getpid()


def run(jobs: list[Job], place: Place) -> dict[str, object]:
    with pool(place) as client:
        return dict(results(client, place, jobs))


@pytest.fixture(scope="module")
def two() -> Iterator[Run]:
    """Two workers that live through all jobs of this file but those of other places, as in a night."""
    with pool(TWO) as client:
        yield lambda jobs: dict(results(client, TWO, jobs))


def test_every_job_returns_and_one_after_another_waits(tmp_path: Path, two: Run):
    # Definition: results come under the jobs' names, and a job sees what the one before it left.
    jobs = [Job(f"d{k}", double, (k,)) for k in range(7)]
    jobs += [
        Job("first", write_then_read, (tmp_path / "f", "a")),
        Job("then", write_then_read, (tmp_path / "f", "b"), after="first"),
    ]
    assert two(jobs) == {f"d{k}": 2 * k for k in range(7)} | {"first": "", "then": "a"}


def test_no_job_waits_behind_a_long_one_while_another_worker_has_nothing_to_do(two: Run):
    """By hand: of jobs of 4, 1, 1, 1, 1, 1, 1, 1, 1 one worker takes the first and at most two more."""
    jobs = [Job(f"{n:016x}", nap, (0.25 if n else 1.0,)) for n in range(9)]
    by = two(jobs)
    assert list(by.values()).count(by[jobs[0].key]) <= 3


def test_the_first_jobs_begin_first():
    jobs = [Job(f"{9 - n:016x}", time.time, ()) for n in range(9)]
    began = run(jobs, Place(workers=1))
    assert [began[job.key] for job in jobs] == sorted(began.values())


def test_an_error_is_the_result_of_its_job_alone(two: Run):
    # Definition: what a person can mend comes back as it was, what is our fault as a lost job.
    found = two([Job("a", refuse, (3,)), Job("b", stumble, ()), Job("c", double, (4,))])
    error, lost = found["a"], found["b"]
    assert isinstance(error, StudyError)
    assert str(error) == "no mesh 3"
    assert isinstance(lost, Lost)
    assert "ZeroDivisionError: a fault of ours; please report it" in lost.reason
    assert found["c"] == 8


def test_a_killed_worker_is_replaced_and_its_job_tried_again(tmp_path: Path, two: Run):
    # SIGKILL is what the kernel sends when memory ends (common practice, no source).
    jobs = [Job("k", die_once, (tmp_path / "mark",)), *(Job(f"d{k}", double, (k,)) for k in range(20))]
    found = two(jobs)
    assert found.pop("k") == "survived"
    assert found == {f"d{k}": 2 * k for k in range(20)}


def test_a_job_that_always_kills_its_worker_is_lost_and_says_so(two: Run):
    found = two([Job("k", die, ()), Job("d", double, (1,))])
    lost = found["k"]
    assert isinstance(lost, Lost)
    assert "use fewer workers or a larger --memory" in lost.reason
    assert found["d"] == 2


@pytest.mark.parametrize(
    ("work", "step", "says"),
    [
        pytest.param(
            partial(hang, in_python=False),
            "mesh",
            "its mesh took longer than the 2 s",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            partial(hang, in_python=True),
            "mesh",
            "its mesh took longer than the 2 s",
            marks=pytest.mark.slow,
        ),
        (hold_the_lock, "solve", "the solution of one stage took longer than the 2 s"),
    ],
    ids=["asleep", "in a loop", "with the lock"],
)
def test_a_job_that_hangs_is_ended_once_and_says_its_limit(
    tmp_path: Path, two: Run, work: Callable[..., None], step: str, says: str
):
    """Definition: others are done meanwhile, by two workers again, and nobody tries it twice."""
    note = tmp_path / "logs" / "nail.hung.txt"
    jobs = [Job("h", work, (tmp_path,), limit=StepLimit({step: 2.0, REST: 60.0}, note))]
    jobs += [Job(f"n{k}", nap, (0.5,)) for k in range(12)]
    found = two(jobs)
    lost = found.pop("h")
    assert isinstance(lost, Lost)
    assert says in lost.reason
    assert "allow more by --time-limit 2 (minutes, " in lost.reason
    assert "logs/nail.hung.txt says where it stood" in lost.reason
    assert "in hold_the_lock" in note.read_text() or "in hang" in note.read_text()
    assert len([path for path in tmp_path.iterdir() if path.name.isdigit()]) == 1
    assert len(found) == 12
    assert len(set(two([Job(f"n{k}", nap, (0.5,)) for k in range(10)]).values())) == 2


@pytest.mark.slow
def test_a_limit_is_that_of_each_step_and_leaves_nothing_behind(tmp_path: Path, two: Run):
    """By hand: four steps of 0.6 s take longer than 1.5 s, and none does."""
    naps = [Job(f"n{k}", nap, (2.0,)) for k in range(2)]
    before, note = set(two(naps).values()), tmp_path / "plate.hung.txt"
    jobs = [Job("s", take_steps, (4, 0.6), limit=StepLimit({REST: 1.5}, note))]
    jobs += [Job("t", refuse, (1,), limit=StepLimit({REST: 1.5}, tmp_path / "t.txt"))]
    found = two(jobs)
    assert found["s"] == 4
    assert isinstance(found["t"], StudyError)
    assert not list(tmp_path.iterdir())
    assert set(two(naps).values()) == before  # the watch is off again


@pytest.mark.slow
def test_a_worker_that_takes_too_much_memory_is_stopped():
    # 4 GB are asked for where 0.6 are allowed.
    found = run([Job("m", fill_memory, ()), Job("d", double, (1,))], Place(workers=2, memory_gb=0.6))
    assert isinstance(found["m"], Lost)
    assert "0.6 GB each" in found["m"].reason
    assert found["d"] == 2


def test_no_scheduler_is_one_sentence(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("pipeline.run.engine.PATIENCE_S", 1)
    with pytest.raises(EngineError, match=r"--scheduler tcp://127\.0\.0\.1:9: no scheduler answers"):
        run([Job("d", double, (1,))], Place(scheduler="tcp://127.0.0.1:9"))


@contextmanager
def outside(folder: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler with two workers that know nothing of us, each a process of its own."""
    file, command = folder / "scheduler.json", [sys.executable, "-m", "distributed.cli"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    own = [f"{command[-1]}.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    started = [subprocess.Popen([*command[:2], *own, "--scheduler-file", str(file)], env=env, **quiet)]
    worker = [f"{command[-1]}.dask_worker", "--scheduler-file", str(file), "--nthreads", "1"]
    worker += ["--no-nanny", "--no-dashboard", "--local-directory", str(folder)]
    started += [subprocess.Popen([*command[:2], *worker], env=env, **quiet) for _ in range(2)]
    try:
        deadline = time.monotonic() + 60
        while not file.exists() and time.monotonic() < deadline:
            time.sleep(0.05)
        yield json.loads(file.read_text())["address"], started[1:]
    finally:
        for process in started:
            process.kill()
            process.wait()


@pytest.mark.slow
def test_a_scheduler_that_is_already_there_loses_a_worker(tmp_path: Path):
    # Definition: the same call on loopback with two real workers, one killed in mid-run: all results.
    (tmp_path / "seen").mkdir()
    with outside(tmp_path) as (address, workers):
        place = Place(scheduler=address)
        jobs = [Job(f"s{k}", slow, (tmp_path / "seen", k)) for k in range(24)]
        with pool(place) as client:
            client.wait_for_workers(2, timeout=60)
            found = {}
            for key, value in results(client, place, jobs):
                found[key] = value
                if len(found) == 6:
                    workers[0].kill()
    assert found == {f"s{k}": k for k in range(24)}
    assert len({path.name.partition("-")[2] for path in (tmp_path / "seen").iterdir()}) == 2


def test_there_are_no_more_workers_than_jobs_and_threads_stay():
    # Definition; a case must not come out otherwise because it is the last one left.
    place = Place(workers=8, memory_gb=3.0, threads=2)
    assert place.for_jobs(3) == Place(workers=3, memory_gb=3.0, threads=2)
    assert place.for_jobs(20) == place
    assert Place(workers=1).for_jobs(1).threads == (os.cpu_count() or 1)


def test_a_run_listens_on_this_machine_alone_to_its_own_certificate_and_shows_no_pages():
    with pool(Place()) as client:
        told = client.scheduler_info()
        processes = [psutil.Process(), *psutil.Process().children(recursive=True)]
        open_to = {
            one.laddr
            for process in processes
            for one in process.net_connections(kind="inet")
            if one.status == psutil.CONN_LISTEN
        }
        addresses = [told["address"], *told["workers"]]
        page = f"http://127.0.0.1:{told['services']['dashboard']}/status"
        with pytest.raises(HTTPError, match="404"):
            urlopen(page, timeout=20)  # where Bokeh is not installed, Dask's page would say so
        with pytest.raises(OSError, match=r"reset by peer|Timed out|closed"):
            Client(told["address"].replace("tls", "tcp"), timeout=2)
    assert {place.ip for place in open_to} == {"127.0.0.1"}
    assert all(address.startswith("tls://127.0.0.1:") for address in addresses)
