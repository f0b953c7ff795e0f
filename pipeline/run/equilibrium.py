"""The tissue stages of a case in equilibrium: unit loads solved, stops taken up, loads settled."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geometries.materials import MATERIALS
from geometries.solids import Geometry
from pipeline.errors import SolveError
from pipeline.fem import stiffness as elastic
from pipeline.fem.contact.bodies import Floating
from pipeline.fem.contact.cones import NotHeldError
from pipeline.fem.contact.states import State
from pipeline.fem.contact.touching import Touching
from pipeline.fem.contact.windows import Stops
from pipeline.fem.loads import Spread
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.mechanism import loose_bodies
from pipeline.fem.solver.solve import Solver
from pipeline.fem.solver.transfer import Corners
from pipeline.fem.space import Array, Flags
from pipeline.measures.mesh_error import LoadError
from pipeline.measures.play import NEARBY
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.columns import Settled
from pipeline.run.refined import Refined, load_errors
from pipeline.run.superposition import combinations, unit_forces, unit_spreads
from pipeline.study.stages import Stage

NO_STAGE = Stage(name="intact", modulus_mpa=0.0, poisson_ratio=0.0)
SETTLED = ("plus", "minus")  # loads near a load at which no surface may overlap either


@dataclass(frozen=True)
class Equilibrium(Settled):
    """One tissue stage under all loads that it bears, and how far each may err.

    Parameters
    ----------
    stage : Stage
        Which.
    elasticity : Array
        Stress over strain of each part (parts, 6, 6), MPa.
    errors : dict of str to LoadError
        What a finer space would answer besides, by load.
    """

    stage: Stage
    elasticity: Array
    errors: dict[str, LoadError]

    @cached_property
    def displacement(self) -> Array:
        """Nodal displacements (n, 3, loads) under the loads that are borne, in their order, mm."""
        shares = np.stack(list(self.basis.shares.values()), axis=1)
        return np.asarray(self.basis.solution.displacement @ shares)


@dataclass(frozen=True)
class Prepared:
    """A meshed case: what all its stages share, and how one is settled.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    geometry : Geometry
        What was meshed.
    loads : dict of str to Array
        Shares of the unit loads in each load.
    pattern : Pattern
        Where its stiffness has values.
    corners : Corners
        Its corner level.
    spreads : tuple of Spread
        Tractions of the unit loads.
    stops : Stops
        All that can touch.
    held : array of bool
        Components (n, 3) that the support holds.
    """

    mesh: Mesh
    geometry: Geometry
    loads: dict[str, Array]
    pattern: elastic.Pattern
    corners: Corners
    spreads: tuple[Spread, ...]
    stops: Stops
    held: Flags

    @classmethod
    def of(cls, mesh: Mesh, geometry: Geometry, case: Case) -> Prepared:
        """Prepare a case on its mesh.

        Six unit loads act at the proximal end, three more at each point below it that a load names.
        """
        pattern, length = elastic.Pattern.of(mesh), geometry.top[2]
        held = np.zeros(mesh.nodes.shape, dtype=bool)
        held[mesh.patches["distal_end"]] = True
        return cls(
            mesh, geometry, combinations(case.loads, case.femur, length), pattern,
            Corners.of(mesh, pattern), unit_spreads(mesh, case.loads, case.femur, length),
            Stops.of(mesh, geometry.stops), held,
        )  # fmt: skip

    @cached_property
    def units(self) -> Array:
        """Nodal forces (n, 3, units) of the unit loads, N."""
        return unit_forces(self.spreads, len(self.mesh.nodes))

    def assembled(self, elasticity: Array, parts: list[int] | None = None) -> elastic.Stiffness:
        """Stiffness of an elasticity (parts, 6, 6), MPa; of some parts alone if they are named."""
        return elastic.assemble(self.mesh, self.pattern, elasticity, parts)

    def solver(self, stiffness: elastic.Stiffness) -> tuple[Solver, Floating]:
        """Solver of a stiffness, and the bodies that only stops hold there.

        Raises
        ------
        SolveError
            If a body can move and no stop can hold it.
        """
        loose = loose_bodies(self.mesh, stiffness, self.held) if self.stops.listed else []
        floating = Floating.of(self.mesh, loose)
        held = self.held | floating.holds(self.mesh.vertex_count)
        return Solver.of(self.mesh, stiffness, held, self.corners), floating

    def settled(
        self, stiffness: elastic.Stiffness, chosen: tuple[int, ...] = ()
    ) -> tuple[Solver, Settled]:
        """Solve for unit loads and stops; then the state under each load, or why there is none.

        Raises
        ------
        SolveError
            If none is found.
        """
        solver, floating = self.solver(stiffness)
        first = Touching.of(solver, self.stops, floating, self.units, chosen)
        loads = self.loads
        tried = {(name, ""): load for name, load in loads.items()} | {
            (name, other): NEARBY[other] * load for name, load in loads.items() for other in SETTLED
        }
        touching, found = first.settle(solver, tried)
        states, failures = {}, {}
        for name in loads:
            one = found[name, ""]
            if isinstance(one, State):
                states[name] = one
            else:
                failures[name] = " ".join(str(one).split("\n"))
        near = {name: _near(touching, loads[name]) for name in states}
        basis = touching.basis(self.mesh, solver, states)
        return solver, Settled(touching, basis, loads, states, failures, near)


def equilibria(
    prepared: Prepared, case: Case, clock: Clock
) -> Iterator[tuple[Stage, Equilibrium | SolveError]]:
    """Solve each tissue stage, stiffest tissue first.

    Everything but the tissue is assembled once; each stage starts with its neighbour's stops. A stage
    that can not be solved yields the solver's error: implants that are a mechanism over an empty gap
    may be sound over tissue.
    """
    mesh = prepared.mesh
    tissue = [k for k, part in enumerate(mesh.parts) if part.material == "tissue"]
    others = [k for k in range(len(mesh.parts)) if k not in tissue]
    with clock("assembly"):
        fixed = prepared.assembled(part_elasticity(mesh, NO_STAGE), others)
    chosen: tuple[int, ...] = ()
    refined: Refined | None = None
    for stage in sorted(stages_of(case), key=lambda stage: -stage.material().modulus):
        elasticity = part_elasticity(mesh, stage)
        with clock("assembly"):
            total = fixed + prepared.assembled(elasticity, tissue)
        with clock("solve"):
            try:
                solver, found = prepared.settled(total, chosen)
            except SolveError as error:
                yield stage, SolveError(str(error))  # made anew: its frames hold matrices
                continue
        chosen = found.touching.chosen
        with clock("errors"):
            refined = refined or Refined.of(mesh, prepared.spreads, prepared.geometry, elasticity)
            errors = load_errors(refined, elasticity, solver, found)
        yield stage, Equilibrium(**vars(found), stage=stage, elasticity=elasticity, errors=errors)


def _near(touching: Touching, load: Array) -> dict[str, State]:
    """Equilibrium under loads near a load; none where nothing can touch, or one of them is not held."""
    if not touching.stops.listed:
        return {}
    try:
        return {name: touching.under(share * load) for name, share in NEARBY.items()}
    except NotHeldError:
        return {}


def stages_of(case: Case) -> tuple[Stage, ...]:
    """Tissue stages of a case; one without a name in the study where there is no tissue."""
    return case.stages if case.has_tissue else (NO_STAGE,)


def part_elasticity(made: Mesh | Geometry, stage: Stage) -> Array:
    """Stress over strain of each part (parts, 6, 6), MPa, at a tissue stage; zeros where empty."""
    cortex = next((part.material for part in made.parts if part.role == "cortex"), "cortical")
    plain = stage.modulus_mpa is None and stage.poisson_ratio is None
    tissue = MATERIALS[cortex] if stage.name == "united" and plain else stage.material()
    return np.stack(
        [
            (tissue if part.material == "tissue" else MATERIALS[part.material]).elasticity
            for part in made.parts
        ]
    )
