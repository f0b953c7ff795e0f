"""One construct from parameters to measures: geometry, mesh, unit solutions, measures."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geometries.assembly import assemble
from geometries.constructs import Construct, IntactConstruct, Specimen
from geometries.materials import MATERIALS, Material
from geometries.parameters import Defect, Femur
from geometries.solids import IMPLANT_ROLES, GapFrame, Geometry
from pipeline.clock import Clock
from pipeline.config import StudyConfig
from pipeline.fem import stiffness as elastic
from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh
from pipeline.fem.mesher import build_mesh
from pipeline.fem.sizes import Level
from pipeline.fem.solve import Solution, solve
from pipeline.fem.space import Array
from pipeline.inputs import Load, Stage
from pipeline.measures.cells import implant_stress_of_cells, tissue_strain_of_cells
from pipeline.measures.dictionary import Measure
from pipeline.measures.field import strain_field, stress_field
from pipeline.measures.gap import gap_movement, tissue_strain
from pipeline.measures.implants import implant_stress
from pipeline.measures.motion import face_motion
from pipeline.measures.quality import Balance, Balances
from pipeline.measures.stiffness import section_stiffness
from pipeline.wrench import wrench

SCHEMA = 1
ENDS = ("distal", "proximal")
NO_STAGE = Stage(name="intact", modulus_mpa=0.0, poisson_ratio=0.0)


@dataclass(frozen=True)
class Case:
    """One mesh's worth of work: a construct, all tissue stages and all loads.

    Parameters
    ----------
    construct, femur, defect, level :
        What is built and how finely it is meshed.
    stages, loads :
        What it is solved for.
    """

    construct: Construct
    femur: Femur
    defect: Defect
    level: Level
    stages: tuple[Stage, ...]
    loads: tuple[Load, ...]

    @property
    def name(self) -> str:
        """Name of the construct."""
        return self.construct.name

    @property
    def own_defect(self) -> Defect:
        """The construct's own defect, else the study's."""
        return self.construct.defect or self.defect

    @property
    def digest(self) -> str:
        """Hash of everything that the results depend on."""
        record = {
            "schema": SCHEMA,
            "construct": self.construct.model_dump(mode="json"),
            "femur": self.femur.model_dump(mode="json"),
            "defect": self.own_defect.model_dump(mode="json"),
            "level": self.level,
            "stages": [stage.model_dump(mode="json") for stage in self.stages],
            "loads": [load.model_dump(mode="json") for load in self.loads],
        }
        return hashlib.sha256(json.dumps(record, sort_keys=True).encode()).hexdigest()

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
    """A measure with the stage, load and balance that it belongs to."""

    stage: str
    load: str
    measure: Measure
    balance: Balance


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
    """

    mesh: Mesh
    gap: GapFrame | None
    rows: tuple[Row, ...]
    point_fields: dict[str, Array]
    cell_fields: dict[str, Array]
    facts: dict[str, float | int | str]


def cases(study: StudyConfig) -> tuple[Case, ...]:
    """All cases of a study: its constructs, and the intact femur at every defect in it.

    The intact cases are the reference of the percentages; one that the study names itself is not
    made again.
    """

    def case(construct: Construct) -> Case:
        return Case(construct, study.femur, study.defect, study.mesh.level, study.stages, study.loads)

    listed = [case(construct) for construct in study.constructs]
    covered = [c.own_defect for c in listed if isinstance(c.construct, IntactConstruct)]
    added: list[Case] = []
    for one in listed:
        if isinstance(one.construct, Specimen) or one.own_defect in covered:
            continue
        covered.append(one.own_defect)
        name = f"intact-{one.own_defect.site}-{one.own_defect.gap_mm:g}mm".replace(".", "p")
        added.append(case(IntactConstruct(name=name, kind="intact", defect=one.own_defect)))
    return tuple(added + listed)


def run_case(case: Case, clock: Clock) -> CaseResult:
    """Build, mesh, solve and measure one construct; the clock takes the time of each step.

    Raises
    ------
    StudyError
        If any step can not be done; the message says which part and why.
    """
    with clock("geometry"):
        geometry = assemble(case.construct, case.femur, case.defect)
    with clock("mesh"):
        mesh = build_mesh(geometry, case.level)
    rows: list[Row] = []
    points: dict[str, Array] = {}
    cells: dict[str, Array] = {}
    iterations = []
    wrenches = {load.name: wrench(load, case.femur, geometry.length) for load in case.loads}
    for stage, solution, forces in solve_unit_loads(mesh, geometry, case, clock):
        iterations.append(solution.iterations)
        with clock("measures"):
            rows += measure(mesh, geometry, stage, solution, forces, wrenches)
            displacement = solution.displacement @ np.stack(list(wrenches.values()), axis=1)
            stress = implant_stress_of_cells(mesh, displacement, part_constants(mesh, stage))
            strain = tissue_strain_of_cells(mesh, displacement)
        for k, load in enumerate(wrenches):
            points[f"displacement_mm:{stage.name}:{load}"] = displacement[:, :, k]
            cells[f"von_mises_MPa:{stage.name}:{load}"] = stress[:, k]
            cells[f"octahedral_strain_percent:{stage.name}:{load}"] = strain[:, k]
    facts: dict[str, float | int | str] = {
        **geometry.facts,
        "cells": len(mesh.cells),
        "unknowns": mesh.unknowns,
        "relaxed_cells": mesh.relaxed,
        "mesh_sha256": mesh.digest,
        "iterations": max(iterations),
    }
    return CaseResult(mesh, geometry.gap, tuple(rows), points, cells, facts)


def solve_unit_loads(
    mesh: Mesh, geometry: Geometry, case: Case, clock: Clock
) -> Iterator[tuple[Stage, Solution, Array]]:
    """Displacements under six unit loads for each tissue stage, stiffest tissue first.

    Everything but the tissue is assembled once; each stage starts from its neighbour's solution.
    """
    with clock("assembly"):
        patterns = elastic.Patterns.of(mesh)
        constants = part_constants(mesh, NO_STAGE)
        tissue = np.array([part.material == "tissue" for part in mesh.parts])[mesh.part_of]
        fixed = _stiffness(mesh, patterns, np.flatnonzero(~tissue), constants)
        forces = unit_loads(mesh, "proximal_end", np.array([0.0, 0.0, geometry.length]))
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    stages = case.stages if case.has_tissue else (NO_STAGE,)
    guess = None
    for stage in sorted(stages, key=lambda s: -s.material().modulus):
        with clock("assembly"):
            own = part_constants(mesh, stage)
            total = fixed + _stiffness(mesh, patterns, np.flatnonzero(tissue), own)
        with clock("solve"):
            solution = solve(mesh, total, forces, held, guess)
        guess = solution.displacement
        yield stage, solution, forces


def measure(
    mesh: Mesh,
    geometry: Geometry,
    stage: Stage,
    solution: Solution,
    forces: Array,
    wrenches: dict[str, Array],
) -> Iterator[Row]:
    """All measures of one stage under all loads."""
    u = solution.displacement
    constants = part_constants(mesh, stage)
    top = np.array([0.0, 0.0, geometry.length])
    balances = Balances.of(mesh, solution, forces, constants, top)
    distal, proximal = (face_motion(mesh, f"{end}_section", u) for end in ENDS)
    implants = {
        part.name: stress_field(mesh, np.flatnonzero(mesh.part_of == k), u, *constants[k])
        for k, part in enumerate(mesh.parts)
        if part.role in IMPLANT_ROLES
    }
    tissue = None
    if geometry.gap is not None:
        below, above = (face_motion(mesh, f"gap_{end}_face", u) for end in ENDS)
        index = [part.role for part in mesh.parts].index("gap")
        if constants[index, 0] > 0:
            tissue = strain_field(mesh, mesh.cells_of("gap"), u)
    for name, load in wrenches.items():
        balance = balances.under(load)
        found = list(section_stiffness(distal, proximal, load))
        if geometry.gap is not None:
            found += gap_movement(geometry.gap, below, above, load)
        if tissue is not None:
            found += tissue_strain(tissue, load)
        for part, field_ in implants.items():
            found += implant_stress(part, field_, load)
        yield from (Row(stage.name, name, one, balance) for one in found)


def part_constants(mesh: Mesh, stage: Stage) -> Array:
    """Young's modulus, MPa, and Poisson's ratio of each part (parts, 2) at a tissue stage."""
    tissue = stage.material()

    def constants(material: str) -> Material:
        return tissue if material == "tissue" else MATERIALS[material]

    found = [constants(part.material) for part in mesh.parts]
    return np.array([[material.modulus, material.poisson] for material in found])


def _stiffness(
    mesh: Mesh, patterns: elastic.Patterns, cells: np.ndarray, constants: Array
) -> elastic.Stiffness:
    modulus, poisson = constants[mesh.part_of[cells]].T
    return elastic.assemble(mesh, patterns, cells, modulus, poisson)
