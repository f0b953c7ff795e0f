"""Which stops bear: their columns are solved for in rounds, until no surface overlaps another.

Every field under a load is a sum of columns: solutions of the unit loads, of the stops' unit forces,
and rigid motions of floating bodies. A round finds the balance with the stops that are known, looks
where the others are overrun, and takes up the worst of each neighbourhood.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
import scipy.sparse as sp

from pipeline.errors import SolveError
from pipeline.fem.contact.bearing import Bearing
from pipeline.fem.contact.bodies import Floating
from pipeline.fem.contact.cones import NotHeldError
from pipeline.fem.contact.rigid import lightest
from pipeline.fem.contact.states import Basis, Pair, State
from pipeline.fem.contact.windows import Stops
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.solve import Solution, Solver
from pipeline.fem.space import Array

MOST_ROUNDS = 15
COUNTS = 1e-9  # share of the largest force from which a stop of a guess counts

Name = TypeVar("Name")


@dataclass(frozen=True)
class Touching:
    """Columns of a stage, and what bears under any load.

    Parameters
    ----------
    stops : Stops
        All that can touch.
    floating : Floating
        Bodies that only stops hold.
    units : Array
        Nodal forces of the unit loads (n, 3, units), N.
    chosen : tuple of int
        Stops whose columns are known, rising.
    solution : Solution
        Of the unit loads, then of the chosen stops' components.
    moved : Array
        Movements of all stops (components, columns) in all columns, rigid motions last, mm.
    """

    stops: Stops
    floating: Floating
    units: Array
    chosen: tuple[int, ...]
    solution: Solution
    moved: Array

    @classmethod
    def of(
        cls, solver: Solver, stops: Stops, floating: Floating, units: Array, chosen: tuple[int, ...]
    ) -> Touching:
        """Solve for the unit loads and for stops that an earlier stage chose.

        An earlier stage's solution would be no start: where tissue gives way, what it carried is left.
        """
        forces = np.concatenate([units, stops.forces(stops.columns(chosen))], axis=2)
        solution = _solved(solver, floating, forces)
        moved = np.hstack([stops.movements(solution.displacement), stops.movements(floating.modes)])
        return cls(stops, floating, units, chosen, solution, moved)

    def settle(
        self, solver: Solver, loads: Mapping[Name, Array]
    ) -> tuple[Touching, dict[Name, State | SolveError]]:
        """Take up stops until none is overrun under any load (shares of the unit loads).

        Returns
        -------
        Touching
            With all columns that were needed.
        dict of State or SolveError
            Equilibrium under each load, or what nothing holds there.
        """
        touching = self
        for _ in range(MOST_ROUNDS):
            found: dict[Name, State | SolveError] = {}
            wanted: set[int] = set()
            for name, load in loads.items():
                try:
                    found[name] = touching.under(load)
                except NotHeldError as error:
                    missing = touching._guessed(load) - set(touching.chosen)
                    wanted |= missing
                    if not missing:
                        found[name] = touching._not_held(error)
                except SolveError as error:
                    found[name] = SolveError(str(error))  # made anew: its frames hold matrices
            for one in found.values():
                if isinstance(one, State):
                    wanted |= touching.stops.worst(one.overlap - touching.stops.allowed)
            wanted -= set(touching.chosen)
            if not wanted:
                return touching, found
            touching = touching._with(solver, wanted)
        raise SolveError(
            f"contact: surfaces still overlap after {MOST_ROUNDS} rounds; report this study file"
        )

    def under(self, load: Array) -> State:
        """Equilibrium under a load with the stops whose columns are known.

        Raises
        ------
        NotHeldError
            If they do not hold a floating body.
        """
        return self.bearing.under(load)

    @cached_property
    def bearing(self) -> Bearing:
        """What bears under any load."""
        own, works = self.stops.columns(self.chosen), self.floating.resultants(self.units)
        return Bearing(self.stops, self.chosen, self.moved[own], works, self._everywhere)

    def _everywhere(self, shares: Array) -> Array:
        """Movements of all stops (components,) under shares of the columns, mm."""
        return np.asarray(self.moved @ shares)

    def _guessed(self, load: Array) -> set[int]:
        """Stops that rigid bodies would run into under a load; none if nothing holds them."""
        stops = self.stops
        rigid = self.moved[:, self.moved.shape[1] - self._modes :]
        clearance = np.repeat(stops.clearance, stops.sizes)
        is_one_sided = np.repeat(stops.is_one_sided, stops.sizes)
        forces = lightest(rigid, clearance, is_one_sided, self.bearing.works @ load)
        sizes = np.sqrt(np.add.reduceat(forces**2, stops.starts[:-1]))
        return {int(k) for k in np.flatnonzero(sizes > COUNTS * sizes.max(initial=0.0))}

    def _with(self, solver: Solver, wanted: set[int]) -> Touching:
        """The same with more stops' columns."""
        fresh = sorted(wanted)
        columns = self.stops.columns(fresh)
        added = _solved(solver, self.floating, self.stops.forces(columns))
        count, old = self.units.shape[2], self.stops.columns(self.chosen)
        chosen = tuple(sorted({*self.chosen, *fresh}))
        all_columns = np.concatenate([old, columns])
        order = np.concatenate([np.arange(count), count + np.argsort(all_columns, kind="stable")])
        modes = self.moved[:, count + len(old) :]
        moved = np.hstack([self.moved[:, : count + len(old)], self.stops.movements(added.displacement)])
        both = [
            np.concatenate([one, other], axis=2)[:, :, order]
            for one, other in (
                (self.solution.displacement, added.displacement),
                (self.solution.reaction, added.reaction),
            )
        ]
        solution = Solution(
            both[0],
            both[1],
            max(self.solution.residual, added.residual),
            self.solution.iterations + added.iterations,
        )
        return replace(
            self, chosen=chosen, solution=solution, moved=np.hstack([moved[:, order], modes])
        )

    @property
    def is_linear(self) -> bool:
        """Whether no stop bears and nothing floats, so that unit loads add up."""
        return not self.chosen and not self.floating.bodies

    def basis(self, mesh: Mesh, solver: Solver, states: Mapping[str, State]) -> Basis:
        """What measures are read from: unit loads, or states where the unit loads do not add up.

        A state's columns may cancel each other by many powers of ten, as where soft tissue alone holds
        a bone end against each of two forces. So it is solved once more as a whole, from their sum.
        """
        if self.is_linear or not states:
            shares = {name: state.shares for name, state in states.items()}
            return Basis(self.solution, self.units, (), shares)
        count = self.units.shape[2]
        each = np.stack([state.shares for state in states.values()], axis=1)
        summed = self.columns @ each
        loads = self.units @ each[:count]
        pairs = tuple(self.pairs(mesh, each[count : len(each) - self._modes]))
        own = np.eye(len(states))
        basis = Basis(self.solution, loads, pairs, {name: own[k] for k, name in enumerate(states)})
        sizes = np.linalg.norm(loads.reshape(-1, len(states)), axis=0)
        again = solver.solve(basis.forces, summed, summed, sizes)
        return replace(
            basis, solution=replace(again, iterations=again.iterations + self.solution.iterations)
        )

    @property
    def columns(self) -> Array:
        """Displacements (n, 3, columns) of all columns, rigid motions last, mm."""
        return np.concatenate([self.solution.displacement, self.floating.modes], axis=2)

    @property
    def _modes(self) -> int:
        return int(self.floating.modes.shape[2])

    def pairs(self, mesh: Mesh, forces: Array) -> Iterator[Pair]:
        """Pairs of the stops that bear under forces (components of the chosen stops, states)."""
        start = 0
        for stop in self.chosen:
            columns = self.stops.columns([stop])
            own = forces[start : start + len(columns)]
            start += len(columns)
            if own.any():
                rows = self.stops.matrix[:, columns]
                nodes = np.unique(rows.indices // 3)
                places = (3 * nodes[:, None] + np.arange(3)).ravel()
                point = np.array(self.stops.listed[stop].points[0])
                if mesh.bow is not None:
                    point = mesh.bow.place(point)
                pushed = sp.csr_array(rows)[places].toarray() @ own
                yield Pair(point, nodes, pushed.reshape(len(nodes), 3, -1))

    def _not_held(self, error: NotHeldError) -> SolveError:
        goes = self.floating.named(error.motion)
        if error.beyond:
            return SolveError(
                f"{goes} by more than {error.beyond:g} mm before a stop or tissue holds it against "
                "this load; allowed is less: add bolts or screws, or leave the load out"
            )
        return SolveError(
            f"{goes}, and no stop and no tissue holds it against this load; allowed is none: add bolts "
            "or screws, or leave the load out"
        )


def _solved(solver: Solver, floating: Floating, forces: Array) -> Solution:
    """Displacements of loads in balance on each floating body, less their mean rigid motion.

    Only so are the movements that stops read and the forces that they push conjugate.
    """
    found = solver.solve(floating.balanced(forces))
    return replace(found, displacement=floating.balanced(found.displacement))
