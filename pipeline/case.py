"""One construct from parameters to measures: geometry, mesh, unit solutions, measures."""

from __future__ import annotations

import hashlib
import json
import logging
import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import Construct, IntactConstruct, Specimen
from geometries.materials import MATERIALS
from geometries.readout import GapFrame
from geometries.solids import Geometry
from pipeline.brackets import variants
from pipeline.clock import Clock
from pipeline.config import StudyConfig
from pipeline.errors import SolveError
from pipeline.fem import stiffness as elastic
from pipeline.fem.mesh import Mesh
from pipeline.fem.mesher import build_mesh
from pipeline.fem.sizes import Level
from pipeline.fem.solve import Solution, solve
from pipeline.fem.space import Array
from pipeline.inputs import Load, Stage
from pipeline.measures.cells import implant_stress_of_cells, tissue_strain_of_cells
from pipeline.measures.dictionary import Measure, Scheme
from pipeline.measures.quality import Balance, Balances
from pipeline.meshes import read_mesh
from pipeline.provenance import fingerprint
from pipeline.readings import Readings
from pipeline.superposition import combinations, statics_residuals, unit_forces

SCHEMA = 3
NOWHERE = Path(os.devnull)
NO_STAGE = Stage(name="intact", modulus_mpa=0.0, poisson_ratio=0.0)
logger = logging.getLogger("gapstrain")


@dataclass(frozen=True)
class Case:
    """One mesh's worth of work: a construct, all tissue stages and all loads.

    Parameters
    ----------
    construct, femur, defect, level :
        What is built and how finely it is meshed.
    stages, loads :
        What it is solved for.
    strain_bands : tuple of str
        Schemes by which tissue strain is sorted.
    variant : str
        Point of the study's design that it belongs to, if there is one.
    """

    construct: Construct
    femur: Femur
    defect: Defect
    level: Level
    stages: tuple[Stage, ...]
    loads: tuple[Load, ...]
    strain_bands: tuple[Scheme, ...]
    variant: str = ""

    @property
    def name(self) -> str:
        """Name of the construct."""
        return self.construct.name

    @property
    def label(self) -> str:
        """Variant and construct, as one word."""
        return f"{self.variant}-{self.name}" if self.variant else self.name

    @property
    def own_defect(self) -> Defect:
        """The construct's own defect, else the study's."""
        return self.construct.defect or self.defect

    @cached_property
    def address(self) -> str:
        """Hash of everything that the results depend on, code and its versions too; 16 digits.

        The construct's name is not among it, nor are stages of an intact femur, which has no tissue.
        """
        record = {
            "schema": SCHEMA,
            "computes": fingerprint(),
            "construct": self.construct.model_dump(mode="json", exclude={"name", "defect"}),
            "femur": self.femur.model_dump(mode="json"),
            "defect": self.own_defect.model_dump(mode="json"),
            "level": self.level,
            "stages": [stage.model_dump(mode="json") for stage in self.stages if self.has_tissue],
            "strain_bands": self.strain_bands,
            "loads": [load.model_dump(mode="json") for load in self.loads],
        }
        return hashlib.sha256(json.dumps(record, sort_keys=True).encode()).hexdigest()[:16]

    @property
    def has_site(self) -> bool:
        """Whether there is a femur, and with it a level of the gap."""
        return not isinstance(self.construct, Specimen)

    @property
    def has_tissue(self) -> bool:
        """Whether the tissue stages matter."""
        return not isinstance(self.construct, IntactConstruct | Specimen)


@dataclass(frozen=True)
class Row:
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
    rows : tuple of Row
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
    rows: tuple[Row, ...]
    point_fields: dict[str, Array]
    cell_fields: dict[str, Array]
    facts: dict[str, float | int | str]
    failures: dict[str, str]


def cases(study: StudyConfig, variant: str = "") -> tuple[Case, ...]:
    """All cases of a study, or of one variant of it.

    They are its constructs and the intact femur at every gap in it. The intact cases are the
    reference of the percentages; one that the study names itself is not made again. Gaps that differ
    in shape alone share one: where there is no gap it has no shape.
    """

    def case(construct: Construct) -> Case:
        common = (study.femur, study.defect, study.mesh.level, study.stages, study.loads)
        return Case(construct, *common, study.strain_bands, variant)

    listed = [case(one) for construct in study.constructs for one, _ in variants(construct)]
    covered = [c.own_defect.plain for c in listed if isinstance(c.construct, IntactConstruct)]
    added: list[Case] = []
    for one in listed:
        plain = one.own_defect.plain
        if isinstance(one.construct, Specimen) or plain in covered:
            continue
        covered.append(plain)
        name = f"intact-{one.own_defect.site}-{one.own_defect.gap_mm:g}mm".replace(".", "p")
        alike = sum(other.name.startswith(name) for other in added)
        name += f"-{alike + 1}" if alike else ""
        added.append(case(IntactConstruct(name=name, kind="intact", defect=plain)))
    return tuple(added + listed)


def run_case(case: Case, clock: Clock, meshes: Path = NOWHERE) -> CaseResult:
    """Build, mesh, solve and measure one construct; the clock takes the time of each step.

    A mesh that lies in the folder `meshes` for this geometry is not made again.

    Raises
    ------
    StudyError
        If any step can not be done, or no stage can be solved; the message says which part and why.
    """
    with clock("geometry"):
        geometry = assemble(case.construct, case.femur, case.defect)
    with clock("mesh"):
        mesh = read_mesh(meshes, geometry, case.level) or build_mesh(geometry, case.level)
    logger.info("%d unknowns in %d cells", mesh.unknowns, len(mesh.cells))
    rows: list[Row] = []
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
        patterns = elastic.Patterns.of(mesh)
        tissue = [k for k, part in enumerate(mesh.parts) if part.material == "tissue"]
        others = [k for k in range(len(mesh.parts)) if k not in tissue]
        fixed = elastic.assemble(mesh, patterns, part_elasticity(mesh, NO_STAGE), others)
        forces = unit_forces(mesh, case.loads, case.femur, geometry.top[2])
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    stages = case.stages if case.has_tissue else (NO_STAGE,)
    solution: Solution | SolveError
    guess = None
    for stage in sorted(stages, key=lambda s: -s.material().modulus):
        with clock("assembly"):
            total = fixed + elastic.assemble(mesh, patterns, part_elasticity(mesh, stage), tissue)
        with clock("solve"):
            try:
                solution = solve(mesh, total, forces, held, guess)
                guess = solution.displacement
            except SolveError as error:
                solution = SolveError(str(error))  # made anew: the first one's frames hold matrices
        yield stage, solution, forces


def measure(
    mesh: Mesh, geometry: Geometry, case: Case, stage: Stage, solution: Solution, forces: Array
) -> Iterator[Row]:
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
            yield Row(stage.name, load.name, one, balance, flags)


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
