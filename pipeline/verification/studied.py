"""Constructs taken through the stages of a study: what tests and verification cases share."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import Any

from geometries.assembly import assemble
from geometries.materials import MATERIALS
from geometries.solids import Geometry
from pipeline.errors import SolveError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.solver.solve import Solution
from pipeline.fem.space import Array
from pipeline.run.case import Case
from pipeline.run.equilibrium import Equilibrium, Prepared, equilibria
from pipeline.run.planning import cases
from pipeline.run.solving import measure
from pipeline.run.superposition import combinations
from pipeline.study.config import parse_study
from pipeline.study.stages import Stage

# Uneven numbers, so that swapped components or forgotten factors show.
SIDE_N, PULL_N, TWIST_NM, BEND_NM = 37.0, 430.0, 2.3, 3.1
LOADS: list[dict[str, Any]] = [
    {"kind": "end_force", "name": "side", "medial_n": SIDE_N},
    {"kind": "end_force", "name": "pull", "proximal_n": PULL_N},
    {"kind": "torsion", "name": "twist", "moment_nm": TWIST_NM},
    {"kind": "bending", "name": "frontal", "plane": "frontal", "moment_nm": BEND_NM},
    {"kind": "bending", "name": "sagittal", "plane": "sagittal", "moment_nm": BEND_NM},
]


def case_of(
    construct: dict[str, Any],
    level: str,
    stages: tuple[str, ...] = ("empty",),
    loads: list[dict[str, Any]] = LOADS,
) -> Case:
    """The case of one construct, read as from a study file; nothing touches unless it says so."""
    construct = {"defect": {}, **construct} if construct["kind"] != "specimen" else construct
    if "defect" in construct:
        construct = construct | {"defect": {"bone_ends": "pass"} | construct["defect"]}
    if construct["kind"] in ("nail", "exchange_nail", "nail_plate"):
        nail = {"canal": "void"} | construct.get("nail", {})
        construct = construct | {"nail": nail | {"bolts": {"fit": "tied"} | nail.get("bolts", {})}}
    study = {
        "schema_version": 1,
        "title": "verification",
        "mesh": {"level": level},
        "stages": [{"name": name} for name in stages],
        "loads": loads,
        "constructs": [construct],
    }
    return cases(parse_study(study, "test"))[-1]


def specimen(length: float, inset: float, *layers: tuple[float, float, str]) -> dict[str, Any]:
    """Bonded tubes, each given by outer and inner diameter and material, as in a study file."""
    keys = ("outer_diameter_mm", "inner_diameter_mm", "material")
    return {
        "kind": "specimen",
        "name": "specimen",
        "length_mm": length,
        "section_inset_mm": inset,
        "layers": [dict(zip(keys, layer, strict=True)) for layer in layers],
    }


def geometry_of(case: Case) -> Geometry:
    """The parts of a case."""
    return assemble(case.construct, case.femur, case.defect)


def mesh_of(construct: dict[str, Any], level: str = "default") -> Mesh:
    """The mesh of one construct."""
    case = case_of(construct, level)
    return build_mesh(geometry_of(case), case.level)


@dataclass(frozen=True)
class Solved:
    """A construct, solved for the six unit loads at one tissue stage."""

    case: Case
    geometry: Geometry
    mesh: Mesh
    found: Equilibrium

    @property
    def stage(self) -> Stage:
        """The tissue stage."""
        return self.found.stage

    @property
    def solution(self) -> Solution:
        """Of the unit loads."""
        return self.found.touching.solution

    @property
    def forces(self) -> Array:
        """Nodal forces of the unit loads (n, 3, units), N."""
        return self.found.touching.units

    @cached_property
    def wrenches(self) -> dict[str, Array]:
        """Shares of the unit loads in each load of the study."""
        return combinations(self.case.loads, self.case.femur, self.geometry.length)

    def under(self, load: str) -> Array:
        """Nodal displacements (n, 3, 1) under a load of the study, mm."""
        return (self.solution.displacement @ self.wrenches[load])[:, :, None]

    @cached_property
    def measures(self) -> dict[tuple[str, str, str], float]:
        """Values by load, quantity and location; the balance of every row must hold."""
        rows = list(measure(self.mesh, self.geometry, self.case, self.found))
        faults = [row.balance.fault() for row in rows if row.balance and row.balance.fault()]
        if faults:
            raise SolveError(faults[0])
        return {
            (row.load, row.measure.quantity, row.measure.location): row.measure.value for row in rows
        }

    def stiffness(self, quantity: str, load: str) -> float:
        """One stiffness between the two reference sections, in the dictionary's unit."""
        return self.measures[load, quantity, "sections"]


def solve_stages(case: Case, geometry: Geometry, mesh: Mesh) -> list[Solved]:
    """All stages of a case on a mesh that is already there, stiffest first; each must be solved."""
    clock: Any = lambda step: nullcontext()  # noqa: ARG005, E731
    found = []
    for _, one in equilibria(Prepared.of(mesh, geometry, case), case, clock):
        if isinstance(one, SolveError):
            raise one
        for sentence in one.failures.values():
            raise SolveError(sentence)
        found.append(Solved(case, geometry, mesh, one))
    return found


def solved(case: Case) -> Solved:
    """The only, or stiffest, stage of a case, through geometry, mesh and solution."""
    geometry = geometry_of(case)
    return solve_stages(case, geometry, build_mesh(geometry, case.level))[0]


@dataclass(frozen=True)
class Tube:
    """Section values of a round tube (any handbook; plain geometry)."""

    outer: float
    inner: float
    material: str

    @property
    def E(self) -> float:
        """Young's modulus, MPa."""
        return MATERIALS[self.material].modulus

    @property
    def nu(self) -> float:
        """Poisson's ratio."""
        return MATERIALS[self.material].poisson

    @property
    def G(self) -> float:
        """Shear modulus, MPa."""
        return self.E / (2 * (1 + self.nu))

    @property
    def A(self) -> float:
        """Area, mm²."""
        return pi / 4 * (self.outer**2 - self.inner**2)

    @property
    def I(self) -> float:  # noqa: E743
        """Second moment of area, mm⁴."""
        return pi / 64 * (self.outer**4 - self.inner**4)

    @property
    def J(self) -> float:
        """Polar moment of area, mm⁴."""
        return 2 * self.I
