"""A study: its cases run side by side, those that are finished left alone, and their tables."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.errors import EngineError, OutputError
from pipeline.fem.meshing.mesher import require_gmsh
from pipeline.run.collect import write_tables
from pipeline.run.engine import Job, Lost, Place, pool, results
from pipeline.run.jobs import MESHES, Outcome, complete_case, share_mesh
from pipeline.run.planning import Plan, Planned, plan
from pipeline.run.record import keeps
from pipeline.storage.casebook import (
    discard_case,
    discard_drafts,
    fault_of,
    folder_of,
    locked,
    read_record,
)
from pipeline.storage.files import check_writable
from pipeline.study.config import StudyConfig

MESH_OF = "mesh-"


@dataclass(frozen=True)
class Running:
    """How a study is run; none of it changes a number.

    Parameters
    ----------
    place : Place
        Where cases run.
    keep : str
        Fields that are stored: "all", "none", or those of ``STAGE:LOAD``.
    """

    place: Place = field(default_factory=Place)
    keep: str = "all"


def run_study(
    study: StudyConfig, out: Path, running: Running, only: Collection[str] | None = None
) -> Iterator[Outcome]:
    """Run all cases that are not finished yet and write the tables; yield each case as it ends.

    Parameters
    ----------
    study : StudyConfig
        What to run.
    out : Path
        Folder for the results.
    running : Running
        How.
    only : collection of str, optional
        Labels of the cases to run; all by default.

    Raises
    ------
    StudyError
        If the geometry of a construct is not possible, gmsh is missing, `out` can not be written or is
        in use, or there is no scheduler.
    """
    planned = plan(study)
    if only is not None:
        planned = planned.only(only)
    require_gmsh()
    check_writable(out)
    with locked(out):
        discard_drafts(out)
        ended: dict[str, Outcome] = {}
        for address, item in planned.distinct.items():
            finished = _finished(item, out, running.keep)
            if finished is not None:
                ended[address] = finished
        for address, outcome in ended.items():
            yield from _alike(planned, address, outcome)
        waiting = {address: item for address, item in planned.distinct.items() if address not in ended}
        for address, outcome in _run(planned, waiting, out, running) if waiting else ():
            ended[address] = outcome
            yield from _alike(planned, address, outcome)
        _discard_meshes(out)
        listed = [replace(ended[item.case.address], case=item.case) for item in planned.items]
        write_tables(study, planned, listed, out)


def _alike(planned: Plan, address: str, outcome: Outcome) -> Iterator[Outcome]:
    """All cases at an address, each as it ended."""
    return (replace(outcome, case=case) for case in planned.alike[address])


def _finished(item: Planned, out: Path, keep: str) -> Outcome | None:
    """How a case ended in an earlier run; None if it must run, and nothing of it then stays."""
    address = item.case.address
    if not fault_of(out, address):
        record = read_record(folder_of(out, address))
        if keeps(record, keep):
            seconds = sum(record["seconds"].values())
            return Outcome(item.case, "", seconds, tuple(record["failed_stages"]), reused=True)
    discard_case(out, address)
    return None


def _run(
    planned: Plan, waiting: Mapping[str, Planned], out: Path, running: Running
) -> Iterator[tuple[str, Outcome]]:
    """Hand cases to workers, the longest first; yield address and outcome as each ends."""
    jobs = []
    for key, group in sorted(planned.meshes.items(), key=_work, reverse=True):
        sharing = [item for item in group if item.case.address in waiting]
        after = ""
        if len(sharing) > 1:
            after = MESH_OF + key
            jobs.append(Job(after, share_mesh, (sharing[0].case, out, sharing[0].case.label)))
        for item in sharing:
            case = item.case
            arguments = (case, out, running.keep, case.label)
            jobs.append(Job(case.address, complete_case, arguments, after))
    place = running.place.for_jobs(len(waiting))
    with pool(place) as client:
        for key, ended in results(client, place, jobs):
            if isinstance(ended, OutputError | EngineError):
                raise ended
            if isinstance(ended, Outcome):
                yield key, ended
            elif isinstance(ended, Lost) and key in waiting:
                yield key, Outcome(waiting[key].case, ended.reason, 0.0)


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
