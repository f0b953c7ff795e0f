"""One case from geometry to measures: mesh, equilibrium of each stage, what is read from them."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from geometries.readout import GapFrame
from geometries.solids import Geometry
from pipeline.errors import SolveError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.meshing.sizes import Level
from pipeline.fem.space import Array
from pipeline.measures.cells import implant_stress_of_cells, tissue_strain_of_cells
from pipeline.measures.curves import CurvePoint, curve_points
from pipeline.measures.dictionary import Measure
from pipeline.measures.error_classes import ErrorBar
from pipeline.measures.quality import Balance, Balances
from pipeline.reduced.twin import Twin
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import Equilibrium, Prepared, equilibria
from pipeline.run.reading import Loaded, StageReadings
from pipeline.run.reducing import reduced_twin
from pipeline.run.superposition import combined
from pipeline.storage.meshes import read_mesh
from pipeline.study.stages import Stage

NOWHERE = Path(os.devnull)
logger = logging.getLogger("gapstrain")
Failures = dict[tuple[str, str], str]


@dataclass(frozen=True)
class Measured:
    """A measure with the stage, load, balance and doubts that it belongs to, and how wrong it may be.

    There is no error of what is no size, as a place, and no balance of what a reduced model gave.
    """

    stage: str
    load: str
    measure: Measure
    balance: Balance | None
    flags: tuple[str, ...]
    error: ErrorBar | None = None


@dataclass(frozen=True)
class CaseResult:
    """Everything that is kept of a case.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    gap : GapFrame or None
        Where gap movement was read.
    rows : tuple of Measured
        All measures.
    point_fields, cell_fields : dict
        Fields for viewers by name ``quantity:stage:load``: displacement at nodes (n, 3), mm; von
        Mises stress of implant cells, MPa, and octahedral shear strain of gap cells, % (m,).
    facts : dict
        Numbers about geometry, mesh and solver for the record.
    failures : dict of (str, str) to str
        Stages and loads that could not be solved, each with a sentence; all else is of the others.
    curves : tuple of (str, CurvePoint)
        Answers to growing loads, each with its stage.
    twin : Twin or None
        The reduced model, if the study asks for more and it could be made.
    """

    mesh: Mesh
    gap: GapFrame | None
    rows: tuple[Measured, ...]
    point_fields: dict[str, Array]
    cell_fields: dict[str, Array]
    facts: dict[str, float | int | str]
    failures: Failures
    curves: tuple[tuple[str, CurvePoint], ...]
    twin: Twin | None = None

    @property
    def lost_stages(self) -> dict[str, str]:
        """Stages at which no load is borne, each with the first reason."""
        borne, found = {one.stage for one in self.rows}, dict[str, str]()
        for (stage, _), reason in self.failures.items():
            if stage not in borne:
                found.setdefault(stage, reason)
        return found

    @property
    def lost_loads(self) -> dict[str, str]:
        """Loads that are not borne at a stage that bears others, as ``stage:load``, with the reason."""
        lost = self.lost_stages
        return {f"{s}:{load}": why for (s, load), why in self.failures.items() if s not in lost}


def run_case(case: Case, clock: Clock, meshes: Path = NOWHERE) -> CaseResult:
    """Build, mesh, solve and measure one construct; the clock takes the time of each step.

    A mesh that lies in the folder `meshes` for this geometry is not made again.

    Raises
    ------
    StudyError
        If any step can not be done, or no stage can be solved; the message says which part and why.
    """
    with clock("geometry"):
        geometry = case.geometry()
    with clock("mesh"):
        mesh = mesh_of(geometry, case.level, meshes)
    logger.info("%d unknowns in %d cells", mesh.unknowns, len(mesh.cells))
    with clock("assembly"):
        prepared = Prepared.of(mesh, geometry, case)
    result = case_result(case, prepared, equilibria(prepared, case, clock), clock)
    return replace(result, twin=_twin(prepared, case, clock)) if case.has_twin else result


def mesh_of(geometry: Geometry, level: Level, meshes: Path) -> Mesh:
    """The mesh of a geometry, made unless it lies in the folder `meshes`."""
    return read_mesh(meshes, geometry, level) or build_mesh(geometry, level)


def case_result(
    case: Case,
    prepared: Prepared,
    found_stages: Iterable[tuple[Stage, Equilibrium | SolveError]],
    clock: Clock,
) -> CaseResult:
    """Measure a case at each of its stages; the clock takes the time.

    Raises
    ------
    SolveError
        If no stage could be solved.
    """
    mesh, geometry = prepared.mesh, prepared.geometry
    rows: list[Measured] = []
    curves: list[tuple[str, CurvePoint]] = []
    nodes: dict[str, Array] = {}
    cells: dict[str, Array] = {}
    iterations: list[int] = []
    failures: Failures = {}
    for stage, found in found_stages:
        for load, sentence in _failed(case, found).items():
            failures[stage.name, load] = sentence
            logger.error("stage %s, load %s: %s", stage.name, load, sentence)
        if isinstance(found, SolveError) or not found.states:
            continue
        iterations.append(found.touching.solution.iterations)
        logger.info("stage %s: %d iterations", stage.name, iterations[-1])
        with clock("measures"):
            rows += measure(mesh, geometry, case, found)
            curves += ((stage.name, point) for point in _curves(mesh, geometry, found))
            stress = implant_stress_of_cells(mesh, found.displacement, found.elasticity)
            strain = tissue_strain_of_cells(mesh, found.displacement)
        for k, load in enumerate(found.states):
            nodes[f"displacement_mm:{stage.name}:{load}"] = found.displacement[:, :, k]
            cells[f"von_mises_MPa:{stage.name}:{load}"] = stress[:, k]
            cells[f"octahedral_strain_percent:{stage.name}:{load}"] = strain[:, k]
    if not iterations:
        raise SolveError("; ".join(dict.fromkeys(failures.values())))
    facts: dict[str, float | int | str] = {
        **geometry.facts,
        **mesh.facts,
        "iterations": max(iterations),
    }
    return CaseResult(mesh, geometry.gap, tuple(rows), nodes, cells, facts, failures, tuple(curves))


def _twin(prepared: Prepared, case: Case, clock: Clock) -> Twin | None:
    """The reduced model of a case, unless a load is not held over soft tissue."""
    femur, top = case.femur, prepared.geometry.top[2]
    beside = {f"{one.name} beside": combined(one, case.loads, femur, top) for one in case.beside}
    with clock("reduced"):
        try:
            return reduced_twin(prepared, prepared.loads | beside)
        except SolveError as error:
            logger.error("no reduced model: %s", error)
            return None


def _failed(case: Case, found: Equilibrium | SolveError) -> dict[str, str]:
    """Loads of a stage that could not be solved, each with a sentence."""
    if isinstance(found, Equilibrium):
        return found.failures
    return {load.name: " ".join(str(found).split("\n")) for load in case.loads}


def _curves(mesh: Mesh, geometry: Geometry, found: Equilibrium) -> Iterator[CurvePoint]:
    """Answers of one stage to all loads that it bears, as these grow."""
    borne = {load: found.loads[load] for load in found.states}
    return curve_points(mesh, geometry, found.elasticity, found.touching, borne)


def measure(mesh: Mesh, geometry: Geometry, case: Case, found: Equilibrium) -> Iterator[Measured]:
    """All measures of one stage under all loads that it bears."""
    touching, basis, top = found.touching, found.basis, geometry.top
    balances = Balances.of(mesh, basis, touching.units, found.elasticity, top)
    reading = StageReadings.of(mesh, geometry, found)
    for load in case.loads:
        if load.name not in found.states:
            continue
        loaded = Loaded.of(found, load.name)
        told, doubts = reading.under(case, load, loaded)
        balance = balances.under(loaded.units, loaded.shares)
        reader = reading.reader(case, load, loaded.units, balance.volume)
        bars = found.errors[load.name].bars(told, reader)
        for one, error in zip(told, bars, strict=True):
            flags = tuple(doubt.sentence for doubt in doubts if doubt.concerns(one))
            yield Measured(found.stage.name, load.name, one, balance, flags, error)
