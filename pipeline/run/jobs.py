"""What a worker does: complete one case, or make a mesh that several cases share."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from geometries.errors import StudyError
from pipeline.errors import MeshError, OutputError
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.record import store_case
from pipeline.run.solving import CaseResult, run_case
from pipeline.storage.files import Cells, writing
from pipeline.storage.meshes import read_mesh, write_failure, write_mesh
from pipeline.storage.provenance import mesh_key

LOGS, MESHES = "logs", "meshes"
Run = Callable[[Case, Clock, Path], CaseResult]
"""From a case, a clock and the folder of shared meshes to results."""
logger = logging.getLogger("gapstrain")


@dataclass(frozen=True)
class Outcome:
    """How a case ended.

    Parameters
    ----------
    case : Case
        Which.
    failure : str
        A sentence if all of it failed, else empty.
    seconds : float
        How long it took.
    failed_stages : tuple of str
        Tissue stages that could not be solved although others were, and ``stage:load`` where one load
        could not.
    reused : bool
        Whether it was finished before this run.
    """

    case: Case
    failure: str
    seconds: float
    failed_stages: tuple[str, ...] = ()
    reused: bool = False

    def cells(self) -> Cells:
        """How it ended, as ``cases.csv`` has it."""
        return {
            "variant": self.case.variant,
            "construct": self.case.name,
            "case": self.case.address,
            "status": "failed" if self.failure else "ok",
            "reason": self.failure,
            "seconds": self.seconds,
        }


def complete_case(case: Case, out: Path, keep: str = "all", run: Run = run_case) -> Outcome:
    """Run a case in some way and store it; a case that can not be run becomes a sentence.

    Fields are kept all, none, or those of ``STAGE:LOAD``.

    Raises
    ------
    OutputError
        If it can not be written.
    """
    clock = Clock()
    with _log(out / LOGS / f"{case.label}.log") as log:
        logger.info("%s, address %s, level %s", case.name, case.address, case.level)
        try:
            result = run(case, clock, out / MESHES)
        except OutputError:
            raise
        except StudyError as error:
            failure = " ".join(str(error).split("\n"))
            logger.error(failure)
            return Outcome(case, failure, clock.total)
        for name, seconds in clock.seconds.items():
            logger.info("%s: %.1f s, at most %d MB", name, seconds, clock.peak_mb[name])
        store_case(case, result, clock, out, keep, log)
    return Outcome(case, "", clock.total, (*result.lost_stages, *result.lost_loads))


def share_mesh(case: Case, out: Path) -> None:
    """Make the mesh of a case, for all cases that have the same; leave word if it can not be made."""
    geometry = case.geometry()
    folder = out / MESHES
    key = mesh_key(geometry, case.level)
    with _log(out / LOGS / f"mesh-of-{case.label}.log"):
        try:
            if read_mesh(folder, geometry, case.level) is None:
                with Clock()("mesh"):
                    mesh = build_mesh(geometry, case.level)
                write_mesh(folder, key, mesh)
        except MeshError as error:
            write_failure(folder, key, str(error))


@contextmanager
def _log(path: Path) -> Iterator[Path]:
    """Send what is logged meanwhile to a file, line by line."""
    with writing(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = logging.FileHandler(path, mode="w", encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    before = logger.level, logger.propagate
    logger.setLevel(logging.INFO)
    logger.propagate = False
    logger.addHandler(handler)
    try:
        yield path
    finally:
        logger.removeHandler(handler)
        logger.level, logger.propagate = before
        handler.close()
