"""One case from geometry to measures: mesh, unit solutions of each stage, what is read from them."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from geometries.materials import MATERIALS
from geometries.readout import GapFrame
from geometries.solids import Geometry
from pipeline.errors import SolveError
from pipeline.fem import stiffness as elastic
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.solver.solve import Solution, solve
from pipeline.fem.space import Array
from pipeline.measures.cells import implant_stress_of_cells, tissue_strain_of_cells
from pipeline.measures.dictionary import Measure
from pipeline.measures.quality import Balance, Balances
from pipeline.measures.readings import Readings
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.superposition import combinations, statics_residuals, unit_forces
from pipeline.storage.meshes import read_mesh
from pipeline.study.stages import Stage

NOWHERE = Path(os.devnull)
NO_STAGE = Stage(name="intact", modulus_mpa=0.0, poisson_ratio=0.0)
logger = logging.getLogger("gapstrain")


@dataclass(frozen=True)
class Measured:
    """A measure with the stage, load, balance and doubts that it belongs to."""

    stage: str
    load: str
    measure: Measure
    balance: Balance
    flags: tuple[str, ...]


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
    failures : dict of str to str
        Stages that could not be solved, each with the solver's sentence; all else is of the others.
    """

    mesh: Mesh
    gap: GapFrame | None
    rows: tuple[Measured, ...]
    point_fields: dict[str, Array]
    cell_fields: dict[str, Array]
    facts: dict[str, float | int | str]
    failures: dict[str, str]


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
        mesh = read_mesh(meshes, geometry, case.level) or build_mesh(geometry, case.level)
    logger.info("%d unknowns in %d cells", mesh.unknowns, len(mesh.cells))
    rows: list[Measured] = []
    points: dict[str, Array] = {}
    cells: dict[str, Array] = {}
    iterations: list[int] = []
    failures: dict[str, str] = {}
    combined = combinations(case.loads, case.femur, geometry.top[2])
    for stage, solution, forces in solve_unit_loads(mesh, geometry, case, clock):
        if isinstance(solution, SolveError):
            failures[stage.name] = " ".join(str(solution).split("\n"))
            logger.error("stage %s: %s", stage.name, failures[stage.name])
            continue
        logger.info("stage %s: %d iterations", stage.name, solution.iterations)
        iterations.append(solution.iterations)
        with clock("measures"):
            rows += measure(mesh, geometry, case, stage, solution, forces)
            displacement = solution.displacement @ np.stack(list(combined.values()), axis=1)
            stress = implant_stress_of_cells(mesh, displacement, part_elasticity(mesh, stage))
            strain = tissue_strain_of_cells(mesh, displacement)
        for k, load in enumerate(combined):
            points[f"displacement_mm:{stage.name}:{load}"] = displacement[:, :, k]
            cells[f"von_mises_MPa:{stage.name}:{load}"] = stress[:, k]
            cells[f"octahedral_strain_percent:{stage.name}:{load}"] = strain[:, k]
    if not iterations:
        raise SolveError("; ".join(dict.fromkeys(failures.values())))
    facts: dict[str, float | int | str] = {
        **geometry.facts,
        "cells": len(mesh.cells),
        "unknowns": mesh.unknowns,
        "relaxed_cells": mesh.relaxed,
        "iterations": max(iterations),
    }
    return CaseResult(mesh, geometry.gap, tuple(rows), points, cells, facts, failures)


def solve_unit_loads(
    mesh: Mesh, geometry: Geometry, case: Case, clock: Clock
) -> Iterator[tuple[Stage, Solution | SolveError, Array]]:
    """Displacements under the unit loads for each tissue stage, stiffest tissue first.

    Six act at the proximal end, three more at each point below it that a load names.

    Everything but the tissue is assembled once; each stage starts from its neighbour's solution. A
    stage that can not be solved yields the solver's error in place of its solution: implants that are
    a mechanism over an empty gap may be sound over tissue.
    """
    with clock("assembly"):
        pattern = elastic.Pattern.of(mesh)
        tissue = [k for k, part in enumerate(mesh.parts) if part.material == "tissue"]
        others = [k for k in range(len(mesh.parts)) if k not in tissue]
        fixed = elastic.assemble(mesh, pattern, part_elasticity(mesh, NO_STAGE), others)
        forces = unit_forces(mesh, case.loads, case.femur, geometry.top[2])
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    stages = case.stages if case.has_tissue else (NO_STAGE,)
    solution: Solution | SolveError
    guess = None
    for stage in sorted(stages, key=lambda s: -s.material().modulus):
        with clock("assembly"):
            total = fixed + elastic.assemble(mesh, pattern, part_elasticity(mesh, stage), tissue)
        with clock("solve"):
            try:
                solution = solve(mesh, total, forces, held, guess)
                guess = solution.displacement
            except SolveError as error:
                solution = SolveError(str(error))  # made anew: the first one's frames hold matrices
        yield stage, solution, forces


def measure(
    mesh: Mesh, geometry: Geometry, case: Case, stage: Stage, solution: Solution, forces: Array
) -> Iterator[Measured]:
    """All measures of one stage under all loads."""
    elasticity = part_elasticity(mesh, stage)
    balances = Balances.of(mesh, solution, forces, elasticity, geometry.top)
    readings = Readings.of(mesh, geometry, elasticity, solution, forces)
    combined = combinations(case.loads, case.femur, geometry.top[2])
    for load in case.loads:
        shares = combined[load.name]
        found, doubts = readings.under(shares, case.strain_bands)
        if case.has_site:
            found += statics_residuals(readings.sections, load, shares, case.femur, geometry.top[2])
        balance = balances.under(shares)
        for one in found:
            flags = tuple(doubt.sentence for doubt in doubts if doubt.concerns(one))
            yield Measured(stage.name, load.name, one, balance, flags)


def part_elasticity(mesh: Mesh, stage: Stage) -> Array:
    """Stress over strain of each part (parts, 6, 6), MPa, at a tissue stage; zeros where empty."""
    cortex = next((part.material for part in mesh.parts if part.role == "cortex"), "cortical")
    plain = stage.modulus_mpa is None and stage.poisson_ratio is None
    tissue = MATERIALS[cortex] if stage.name == "united" and plain else stage.material()
    return np.stack(
        [
            (tissue if part.material == "tissue" else MATERIALS[part.material]).elasticity
            for part in mesh.parts
        ]
    )
