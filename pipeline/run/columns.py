"""Columns of a stage: what every field under a load is a sum of, and what reads the bone ends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.fem.bubbles import AnySpread, Pushing
from pipeline.fem.contact.states import Basis, State
from pipeline.fem.contact.touching import Touching
from pipeline.fem.loads import Spread
from pipeline.fem.solver.solve import Solver
from pipeline.fem.space import Array

MOTIONS = 6


@dataclass(frozen=True)
class Settled:
    """A stage in equilibrium under all loads that it bears.

    Parameters
    ----------
    touching : Touching
        Solutions of the unit loads and of stops.
    basis : Basis
        What measures are read from.
    loads : dict of str to Array
        Shares of the unit loads in each load.
    states : dict of str to State
        Equilibrium under each load that is borne.
    failures : dict of str to str
        Loads that nothing holds, each with a sentence.
    near : dict of str to dict of str to State
        Equilibrium under loads near each load that is borne, by their names; none where nothing can
        touch.
    """

    touching: Touching
    basis: Basis
    loads: dict[str, Array]
    states: dict[str, State]
    failures: dict[str, str]
    near: dict[str, dict[str, State]]


@dataclass(frozen=True)
class Columns:
    """Columns of a stage: unit loads, stops, rigid motions, and the six duals of the bone ends.

    Parameters
    ----------
    touching : Touching
        All but the duals.
    displacement : Array
        Of all (n, 3, columns), mm.
    works : Array
        Work of the duals in the rigid motions (modes, duals).
    """

    touching: Touching
    displacement: Array
    works: Array

    @classmethod
    def of(cls, solver: Solver, touching: Touching, duals: Array) -> Columns:
        """Solve for the duals' nodal forces (n, 3, duals), N, as closely as errors need."""
        floating = touching.floating
        answers = floating.balanced(solver.loosely(floating.balanced(duals)))
        displacement = np.concatenate([touching.columns, answers], axis=2)
        return cls(touching, displacement, floating.resultants(duals))

    @property
    def count(self) -> int:
        """How many there are."""
        return int(self.displacement.shape[2])

    def spreads(self, units: tuple[Spread, ...], ends: tuple[AnySpread, ...]) -> Iterator[Pushing]:
        """Tractions of the columns: the first column of each, its sign, and how it is spread."""
        row, stops = 0, self.touching.stops
        for unit in units:
            yield row, 1.0, unit
            row += unit.weighted.shape[3]
        for column in stops.columns(self.touching.chosen):
            for sign, spread in zip((1.0, -1.0), stops.spreads[column], strict=True):
                yield row, sign, spread
            row += 1
        for sign, end in zip((1.0, -1.0), ends, strict=False):
            yield self.count - MOTIONS, sign, end

    def goals(self, state: State) -> Array:
        """Shares (columns, 12) in the answers to unit loads at the proximal end, and to the duals.

        They are the answers beside a state, with the stops that bear there.
        """
        touching, duals = self.touching, self.works.shape[1]
        last = self.count - duals
        units = np.arange(MOTIONS)
        moved = [touching.moved[:, :MOTIONS], touching.stops.movements(self.displacement[:, :, last:])]
        works = [touching.bearing.works[:, :MOTIONS], self.works]
        shares = np.zeros((self.count, MOTIONS + duals))
        shares[units, units] = 1.0
        shares[touching.units.shape[2] : last] = touching.bearing.yields(
            state, np.hstack(moved), np.hstack(works)
        )
        shares[last:, MOTIONS:] = np.eye(duals)
        return shares

    def more(self, state: State, load: Array) -> Array:
        """Shares (columns,) in the answer to once more of a load beside its state."""
        touching, count = self.touching, len(load)
        shares = np.zeros(self.count)
        shares[:count] = load
        moved, works = touching.moved[:, :count] @ load, touching.bearing.works @ load
        yielded = touching.bearing.yields(state, moved[:, None], works[:, None])[:, 0]
        shares[count : count + len(yielded)] = yielded
        return shares
