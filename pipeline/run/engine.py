"""Runs jobs in worker processes, on this machine or on a cluster, by one code path.

A scheduler hands jobs to workers, sees when one dies, starts another and tries the job again. It is
Dask's, started here for one run, or one that is already there.
"""

from __future__ import annotations

import logging
import os
import signal
import tempfile
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import dask
from distributed import Client, LocalCluster, Security, WorkerPlugin, as_completed, get_worker
from distributed.scheduler import KilledWorker

from geometries.errors import StudyError
from pipeline.errors import EngineError
from pipeline.fem.kernels.threads import use_threads
from pipeline.run.watch import StepLimit, watched
from pipeline.storage.provenance import fingerprint, versions

SETTINGS: dict[str, object] = {
    # Workers hold no results that could be spilled; only the last limit, a restart, makes sense.
    "distributed.worker.memory.target": False,
    "distributed.worker.memory.spill": False,
    "distributed.worker.memory.pause": False,
    "distributed.scheduler.worker-ttl": None,  # a long factorization is no sign of death
    "distributed.scheduler.worker-saturation": 1.0,  # a job waits for any worker, not behind one
    "distributed.comm.timeouts.connect": "20s",
    "distributed.scheduler.http.routes": [],  # nobody looks at pages of a run's own scheduler
    "distributed.worker.http.routes": [],
    "distributed.worker.profile.enabled": False,  # nor at its statistics, a twentieth of a core
    "distributed.admin.tick.interval": "1s",
    "distributed.admin.system-monitor.interval": "5s",
}
PATIENCE_S = 20


@dataclass(frozen=True)
class Place:
    """Where jobs run.

    Parameters
    ----------
    workers : int
        Processes at a time on this machine.
    memory_gb : float, optional
        What one worker may hold before it is started anew; its share of the machine by default.
    scheduler : str
        Address of a scheduler that is already there; its workers count, not the two numbers above.
    threads : int, optional
        What each worker computes with; its share of this machine by default, on a cluster one.
    minutes : float, optional
        How long a step of a case may take before its worker is ended; by its forecast by default.
    """

    workers: int = 1
    memory_gb: float | None = None
    scheduler: str = ""
    threads: int | None = None
    minutes: float | None = None

    def for_jobs(self, count: int) -> Place:
        """The same with no more workers than jobs; each computes with as many threads as before."""
        return replace(self, workers=min(self.workers, count), threads=threads_of(self))


@dataclass(frozen=True)
class Job:
    """A call that a worker makes.

    Parameters
    ----------
    key : str
        Its name, unlike all others.
    work : callable
        A function at the top of a module.
    arguments : tuple
        Its arguments.
    after : str
        Key of the job that must have ended first, well or not, if any.
    limit : StepLimit, optional
        How long its steps may take.
    """

    key: str
    work: Callable[..., object]
    arguments: tuple[object, ...]
    after: str = ""
    limit: StepLimit | None = None


@dataclass(frozen=True)
class Lost:
    """A job that has no result, and why, in a sentence."""

    reason: str


class _Steady(WorkerPlugin):
    """Ctrl-C, which a terminal sends to all, stops the run; workers then go in good order."""

    def setup(self, worker: object) -> None:  # noqa: ARG002 (Dask hands it by name)
        signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def pool(place: Place) -> Iterator[Client]:
    """Yield a client of a scheduler with its workers; those started here end with it.

    Raises
    ------
    EngineError
        If there is no scheduler at the given address, or its workers run other code.
    """
    with ExitStack() as stack:
        stack.enter_context(dask.config.set(SETTINGS))
        if place.scheduler:
            client = stack.enter_context(_client(place.scheduler))
            for worker, told in client.run(code_here, on_error="return").items():
                _hold_against(code_here(), told, worker)
            yield client
            return
        scratch = stack.enter_context(tempfile.TemporaryDirectory(ignore_cleanup_errors=True))
        cluster = LocalCluster(
            n_workers=place.workers,
            threads_per_worker=1,
            processes=True,
            memory_limit=f"{place.memory_gb:g}GB" if place.memory_gb else "auto",
            host="127.0.0.1",
            security=Security.temporary(),
            dashboard_address="127.0.0.1:0",
            scheduler_kwargs={"dashboard": False},  # pages of Dask, where Bokeh happens to be
            silence_logs=logging.CRITICAL,
            local_directory=scratch,
        )
        stack.enter_context(cluster)
        client = stack.enter_context(Client(cluster))
        client.register_plugin(_Steady())
        yield client


@contextmanager
def _client(address: str) -> Iterator[Client]:
    try:
        client = Client(address, timeout=PATIENCE_S)
    except (OSError, ValueError) as error:
        raise EngineError(
            f"--scheduler {address}: no scheduler answers ({error}); allowed is an address like "
            "tcp://host:8786: start one there, or leave the option out"
        ) from None
    with client:
        yield client


Code = tuple[str, dict[str, str]]


def code_here() -> Code:
    """Fingerprint of the code that computes in this process, and the versions that it runs on."""
    return fingerprint(), versions()


def _hold_against(expected: Code, told: object, worker: str) -> None:
    """Refuse a worker that computes by other code: its numbers would stand for those of ours."""
    if told == expected:
        return
    if isinstance(told, tuple):
        found = [f"{name} {one}" for name, one in told[1].items() if one != expected[1].get(name)]
        other = ", ".join(found) or "other files of this program"
    else:
        other = f"none that fits ({type(told).__name__}: {told})"
    raise EngineError(
        f"worker {worker} runs other code than this command: {other}; allowed is the same, since a "
        "result may be another number: install one version everywhere, start the workers anew, and run "
        "the same command again"
    )


def results(client: Client, place: Place, jobs: Iterable[Job]) -> Iterator[tuple[str, Any]]:
    """Run jobs, the first ones first; yield key and result of each as it ends.

    A job that kills its worker is tried three times more, on other workers. It is then `Lost`, and so
    is one that takes longer than it may, at once, and one that raises anything but a StudyError, which
    is the result then. What waits for a job begins when its result has been taken.

    Raises
    ------
    EngineError
        If the scheduler is gone.
    """
    run, threads = uuid.uuid4().hex, threads_of(place)
    names: dict[str, str] = {}
    behind: dict[str, list[tuple[str, Job]]] = {}
    for number, job in enumerate(jobs):
        name = f"job-{number:06d}-{job.key}-{run}"  # jobs wait in the order of their names
        names[name] = job.key
        behind.setdefault(job.after, []).append((name, job))
    futures = _submit(client, threads, behind.pop("", []))
    ended = as_completed(futures)
    try:
        for future in ended:
            key = names[future.key]
            yield key, _result(client, future, place)
            more = _submit(client, threads, behind.pop(key, []))
            futures += more
            ended.update(more)
    finally:
        client.cancel(futures)


def _submit(client: Client, threads: int, jobs: Sequence[tuple[str, Job]]) -> list[Any]:
    """Hand named jobs to the scheduler, all at once: of single ones it would give each worker two."""
    names = [name for name, _ in jobs]
    listed = [job for _, job in jobs]
    work = partial(_work, threads, code_here())
    return client.map(work, listed, key=names, pure=False) if jobs else []


def threads_of(place: Place) -> int:
    """Threads that one worker computes with."""
    if place.threads is not None:
        return place.threads
    return 1 if place.scheduler else max(1, (os.cpu_count() or 1) // place.workers)


def _work(threads: int, code: Code, job: Job) -> Any:
    """Do a job; one that took too long in another process is not tried again."""
    _hold_against(code, code_here(), get_worker().address)  # it may have come later than the run
    use_threads(threads)
    if job.limit is None:
        return job.work(*job.arguments)
    if job.limit.has_struck:
        return Lost(job.limit.reason)
    with watched(job.limit):
        return job.work(*job.arguments)


def _result(client: Client, future: Any, place: Place) -> object:
    if future.status == "cancelled" or client.status != "running":
        raise EngineError(
            "the scheduler is gone; finished cases are kept: run the same command again to go on"
        )
    try:
        return future.result()
    except StudyError as error:
        return error
    except KilledWorker:
        held = f" ({place.memory_gb:g} GB each)" if place.memory_gb else ""
        return Lost(
            f"its worker was killed again and again, perhaps for want of memory{held}; use fewer "
            "workers or a larger --memory"
        )
    except Exception as error:  # a fault of ours in one job must not end the others
        return Lost(f"unexpected {type(error).__name__}: {error}; please report it")
