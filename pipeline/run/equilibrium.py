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


def equilibria(
    mesh: Mesh, geometry: Geometry, case: Case, clock: Clock
) -> Iterator[tuple[Stage, Equilibrium | SolveError]]:
    """Solve each tissue stage, stiffest tissue first.

    Six unit loads act at the proximal end, three more at each point below it that a load names.
    Everything but the tissue is assembled once; each stage starts with its neighbour's stops. A stage
    that can not be solved yields the solver's error: implants that are a mechanism over an empty gap
    may be sound over tissue.
    """
    with clock("assembly"):
        pattern = elastic.Pattern.of(mesh)
        corners = Corners.of(mesh, pattern)
        tissue = [k for k, part in enumerate(mesh.parts) if part.material == "tissue"]
        others = [k for k in range(len(mesh.parts)) if k not in tissue]
        fixed = elastic.assemble(mesh, pattern, part_elasticity(mesh, NO_STAGE), others)
        spreads = unit_spreads(mesh, case.loads, case.femur, geometry.top[2])
        units = unit_forces(spreads, len(mesh.nodes))
        stops = Stops.of(mesh, geometry.stops)
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    loads = combinations(case.loads, case.femur, geometry.top[2])
    chosen: tuple[int, ...] = ()
    refined: Refined | None = None
    for stage in sorted(
        case.stages if case.has_tissue else (NO_STAGE,), key=lambda s: -s.material().modulus
    ):
        elasticity = part_elasticity(mesh, stage)
        with clock("assembly"):
            total = fixed + elastic.assemble(mesh, pattern, elasticity, tissue)
        with clock("solve"):
            try:
                solver, found = _settled(mesh, total, corners, (held, stops, units), loads, chosen)
            except SolveError as error:
                yield stage, SolveError(str(error))  # made anew: its frames hold matrices
                continue
        chosen = found.touching.chosen
        with clock("errors"):
            refined = refined or Refined.of(mesh, spreads, geometry, elasticity)
            errors = load_errors(refined, elasticity, solver, found)
        yield stage, Equilibrium(**vars(found), stage=stage, elasticity=elasticity, errors=errors)


def _settled(
    mesh: Mesh,
    stiffness: elastic.Stiffness,
    corners: Corners,
    given: tuple[Flags, Stops, Array],
    loads: dict[str, Array],
    chosen: tuple[int, ...],
) -> tuple[Solver, Settled]:
    """Solve for unit loads and stops; then the state under each load, or why there is none."""
    held, stops, units = given
    loose = loose_bodies(mesh, stiffness, held) if stops.listed else []
    floating = Floating.of(mesh, loose)
    solver = Solver.of(mesh, stiffness, held | floating.holds(mesh.vertex_count), corners)
    first = Touching.of(solver, stops, floating, units, chosen)
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
    basis = touching.basis(mesh, solver, states)
    return solver, Settled(touching, basis, loads, states, failures, near)


def _near(touching: Touching, load: Array) -> dict[str, State]:
    """Equilibrium under loads near a load; none where nothing can touch, or one of them is not held."""
    if not touching.stops.listed:
        return {}
    try:
        return {name: touching.under(share * load) for name, share in NEARBY.items()}
    except NotHeldError:
        return {}


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
