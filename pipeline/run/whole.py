"""Cases of whole bone on one mesh, which does not tell of a gap: solved once, and read at each gap."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from geometries.errors import StudyError
from pipeline.fem.solver.solve import Solver
from pipeline.fem.space import Array
from pipeline.run.alike import VariedCase, plain, together
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.columns import Settled
from pipeline.run.equilibrium import NO_STAGE, Equilibrium, Prepared, part_elasticity
from pipeline.run.jobs import Outcome, complete_case
from pipeline.run.refined import Refined, bone_ends, load_errors
from pipeline.run.solving import CaseResult, case_result, mesh_of, run_case

T = TypeVar("T")
MOST = 12  # cases that one solution serves, since each load of each is a column of it


def complete_whole(varied: Sequence[VariedCase], out: Path, keep: str = "all") -> tuple[Outcome, ...]:
    """Complete cases of whole bone of one mesh and material; how each that waited ended.

    All count, those that are finished too, so that what is solved together is the same after a stop.

    Raises
    ------
    OutputError
        If one can not be written.
    """
    bone: WholeBone | None = None

    def run(case: Case, clock: Clock, meshes: Path) -> CaseResult:
        nonlocal bone
        try:
            bone = bone or WholeBone.of([one.case for one in varied], meshes, clock)
        except StudyError:  # each case says for itself what is wrong with it
            return run_case(case, clock, meshes)
        return bone.read(case, clock)

    return tuple(complete_case(one.case, out, keep, run) for one in varied if one.waits)


@dataclass(frozen=True)
class WholeBone:
    """Whole bone under the loads of several cases.

    Parameters
    ----------
    prepared : Prepared
        The mesh, with all loads.
    numbers : mapping of str to str
        Name of each load there, by the load whatever its own name.
    elasticity : Array
        Stress over strain of each part (parts, 6, 6), MPa.
    solver, found : Solver, Settled
        Its solver and its solutions.
    refined : Refined
        Its bubbles.
    """

    prepared: Prepared
    numbers: Mapping[str, str]
    elasticity: Array
    solver: Solver
    found: Settled
    refined: Refined

    @classmethod
    def of(cls, cases: Sequence[Case], meshes: Path, clock: Clock) -> WholeBone:
        """Mesh it, unless it lies in the folder `meshes`, and solve it.

        Raises
        ------
        StudyError
            If that can not be done.
        """
        case, numbers = together(cases)
        geometry = case.geometry()
        with clock("mesh"):
            mesh = mesh_of(geometry, case.level, meshes)
        with clock("assembly"):
            prepared = Prepared.of(mesh, geometry, case)
            elasticity = part_elasticity(mesh, NO_STAGE)
            stiffness = prepared.assembled(elasticity)
        with clock("solve"):
            solver, found = prepared.settled(stiffness)
        with clock("errors"):
            refined = Refined.of(mesh, prepared.spreads, geometry, elasticity)
        return cls(prepared, numbers, elasticity, solver, found, refined)

    def read(self, case: Case, clock: Clock) -> CaseResult:
        """What one of the cases has for results: the bone under its loads, read at its gap."""
        own, solver = replace(self.prepared, geometry=case.geometry()), self.solver
        found = self._under(case)
        with clock("errors"):
            refined = replace(self.refined, ends=bone_ends(own.mesh, own.geometry))
            errors = load_errors(refined, self.elasticity, solver, found)
        stage = Equilibrium(**vars(found), stage=NO_STAGE, elasticity=self.elasticity, errors=errors)
        return case_result(case, own, [(NO_STAGE, stage)], clock)

    def _under(self, case: Case) -> Settled:
        """The solutions with the loads of a case alone, by their own names."""
        found, names = self.found, {load.name: self.numbers[plain(load)] for load in case.loads}

        def own(of_all: Mapping[str, T]) -> dict[str, T]:
            return {name: of_all[number] for name, number in names.items() if number in of_all}

        return replace(
            found,
            basis=replace(found.basis, shares=own(found.basis.shares)),
            loads=own(found.loads),
            states=own(found.states),
            failures=own(found.failures),
            near=own(found.near),
        )
