"""Cases run side by side, those that are finished left alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Literal

from pipeline.errors import EngineError, OutputError
from pipeline.run.alike import LEAST, VariedCase, complete_alike
from pipeline.run.engine import Job, Lost, Place, pool, results
from pipeline.run.jobs import LOGS, MESHES, Outcome, complete_case, share_mesh
from pipeline.run.planning import Plan, Planned
from pipeline.run.record import keeps
from pipeline.run.watch import REST, StepLimit
from pipeline.run.whole import MOST, complete_whole
from pipeline.storage.casebook import (
    TWIN,
    discard_case,
    discard_drafts,
    fault_of,
    folder_of,
    read_record,
)
from pipeline.storage.meshes import write_failure
from pipeline.tables.groups import grouped

MESH_OF = "mesh-"
Keep = Literal["all", "shown", "none"]


def complete(planned: Plan, out: Path, place: Place, keep: Keep = "all") -> Iterator[Outcome]:
    """Run all cases of a plan that are not finished in a folder; yield each as it ends.

    The caller has locked the folder. Fields are kept all, none, or those of the study's shown stage and
    load.

    Raises
    ------
    OutputError
        If a case can not be written.
    EngineError
        If there is no scheduler.
    """
    kept = ":".join(planned.study.shown) if keep == "shown" else keep
    discard_drafts(out)
    waiting: dict[str, Planned] = {}
    for address, item in planned.distinct.items():
        finished = _finished(item, out, kept)
        if finished is None:
            waiting[address] = item
        else:
            yield from _alike(planned, finished)
    for outcome in _run(planned, waiting, out, place, kept) if waiting else ():
        yield from _alike(planned, outcome)
    _discard_meshes(out)


def _alike(planned: Plan, outcome: Outcome) -> Iterator[Outcome]:
    """All cases at an address, each as it ended."""
    return (replace(outcome, case=item.case) for item in planned.alike[outcome.case.address])


def _finished(item: Planned, out: Path, keep: str) -> Outcome | None:
    """How a case ended in an earlier run; None if it must run, and nothing of it then stays."""
    address = item.case.address
    if not fault_of(out, address):
        record = read_record(folder_of(out, address))
        if keeps(record, keep) and (not item.case.has_twin or _has_twin(out, address)):
            seconds = sum(record["seconds"].values())
            return Outcome(
                item.case, "", seconds, (*record["failed_stages"], *record["failed_loads"]), reused=True
            )
    discard_case(out, address)
    return None


def _has_twin(out: Path, address: str) -> bool:
    return (folder_of(out, address) / TWIN).is_file()


def _run(
    planned: Plan, waiting: Mapping[str, Planned], out: Path, place: Place, keep: str
) -> Iterator[Outcome]:
    """Hand cases to workers, the longest first; yield each as it ends."""
    place = place.for_jobs(len(waiting))
    served: dict[str, list[Planned]] = {}
    with pool(place) as client:
        jobs = _jobs(planned, waiting, out, keep, served, place.minutes)
        for key, ended in results(client, place, jobs):
            if isinstance(ended, OutputError | EngineError):
                raise ended
            if isinstance(ended, Outcome):
                yield ended
            elif isinstance(ended, tuple):
                yield from ended
            elif isinstance(ended, Lost):
                if key.startswith(MESH_OF):  # those that wait for it fail at once
                    write_failure(out / MESHES, key.removeprefix(MESH_OF), ended.reason)
                for item in served.get(key, ()):  # of many in one job, some may be finished
                    yield _finished(item, out, keep) or Outcome(item.case, ended.reason, 0.0)


def _jobs(
    planned: Plan,
    waiting: Mapping[str, Planned],
    out: Path,
    keep: str,
    served: dict[str, list[Planned]],
    minutes: float | None,
) -> Iterator[Job]:
    """Jobs for all cases, those that share a mesh behind the job that makes it.

    Cases that differ in materials, loads and play alone have one job, if they are many, and so have
    those of whole bone. What cases a job serves is written down.
    """
    limit = partial(limit_of, out / LOGS, minutes)
    for key, group in sorted(planned.meshes.items(), key=_work, reverse=True):
        sharing = [item for item in group if item.case.address in waiting]
        if not sharing:
            continue
        after = ""
        if len(sharing) > 1:
            after = MESH_OF + key
            yield Job(after, share_mesh, (sharing[0].case, out), limit=limit(sharing[0], "mesh-of-"))
        for work, together in _together(group):
            items = [item for item in together if item.case.address in waiting]
            if not items:
                continue
            name, first = items[0].case.address, items[0]
            served[name] = items
            if work is complete_case:
                yield Job(name, work, (first.case, out, keep), after, limit(first))
                continue
            varied = tuple(
                VariedCase(item.case, item.clearance, item.case.address in waiting) for item in together
            )
            yield Job(name, work, (varied, out, keep), after, limit(first, "all-like-"))


def _together(group: list[Planned]) -> Iterator[tuple[Callable[..., object], list[Planned]]]:
    """Cases of a mesh by what completes them: one solution, a reduced model, or each its own job."""
    for alike in grouped(group, lambda item: item.likeness).values():
        if alike[0].case.is_whole:
            size, work = MOST, complete_whole if len(alike) > 1 else complete_case
        elif len(alike) >= LEAST:
            size, work = len(alike), complete_alike
        else:
            size, work = 1, complete_case
        yield from ((work, alike[k : k + size]) for k in range(0, len(alike), size))


def limit_of(logs: Path, minutes: float | None, item: Planned, what: str = "") -> StepLimit:
    """How long the steps of a job may take; nothing is left of what an earlier run said of it."""
    allowed = item.work.allowed(minutes)
    steps = {"mesh": allowed.mesh_s, "reduced": allowed.twin_s, REST: allowed.stage_s}
    limit = StepLimit(steps, logs / f"{what}{item.case.label}.hung.txt")
    limit.note.unlink(missing_ok=True)
    return limit


def _work(mesh: tuple[str, list[Planned]]) -> float:
    """What a worker must do for a case of this mesh; a long one begun last would keep all waiting."""
    first = mesh[1][0]
    return first.unknowns * first.solutions


def _discard_meshes(out: Path) -> None:
    """Remove shared meshes: they serve one run."""
    for file in (out / MESHES).glob("*"):
        file.unlink()
    if (out / MESHES).is_dir():
        (out / MESHES).rmdir()
