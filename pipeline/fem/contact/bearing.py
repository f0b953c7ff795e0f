"""What bears under a load: the small problem of a stage, from how its stops move in every column."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.fem.contact.cones import Cones
from pipeline.fem.contact.rules import OVERLAP_MM, Rules
from pipeline.fem.contact.states import State
from pipeline.fem.contact.tangent import answered, held
from pipeline.fem.space import Array


@dataclass(frozen=True)
class Bearing:
    """Stops whose columns are known, and how all stops move in every column.

    Parameters
    ----------
    stops : Rules
        All that can touch.
    chosen : tuple of int
        Stops whose columns are known, rising.
    moved : Array
        Movements of the chosen stops (components, columns) in all columns: unit loads, components of
        the chosen stops, rigid motions of floating bodies; mm.
    works : Array
        Work of the unit loads in the rigid motions (modes, units).
    everywhere : callable
        Movements of all stops from shares of the columns (columns,).
    """

    stops: Rules
    chosen: tuple[int, ...]
    moved: Array
    works: Array
    everywhere: Callable[[Array], Array]

    def under(self, load: Array) -> State:
        """Equilibrium under a load with the stops whose columns are known.

        Raises
        ------
        NotHeldError
            If they do not hold a floating body.
        """
        count = self.works.shape[1]
        forces, motion = self._cones.bear(self.moved[:, :count] @ load, self.works @ load)
        shares = np.concatenate([load, forces, motion])
        moved = self.everywhere(shares) + self.stops.rest
        starts = np.cumsum([0, *(self.stops.sizes[list(self.chosen)])])
        bearing = {
            stop: force
            for stop, a, b in zip(self.chosen, starts[:-1], starts[1:], strict=True)
            if (force := forces[a:b]).any()
        }
        return State(shares, bearing, moved, self.stops.overlaps(moved))

    def yields(self, state: State, moved: Array, works: Array) -> Array:
        """How the chosen stops answer a little of other loads beside a state, if the same ones bear.

        Parameters
        ----------
        state : State
            Equilibrium under a load.
        moved : Array
            Movements of all stops under the other loads, without forces of stops (components, k), mm.
        works : Array
            Work of the other loads in the rigid motions (modes, k).

        Returns
        -------
        Array
            Forces of the chosen stops, N, and rigid motions, mm (components + modes, k).
        """
        own = self.stops.columns(self.chosen)
        count = self.works.shape[1]
        forces = state.shares[count : count + len(own)]
        return answered(self._cones, forces, moved[own], works)

    def slack(self, state: State) -> float:
        """How far bodies may go besides in a state, mm; 0 if no stop bears.

        Surfaces that bear may overlap a little. Where a body is free to slide along them, nothing tells
        one place from the next, by as much as is allowed of their clearances.
        """
        if not state.forces:
            return 0.0
        count, own = self.works.shape[1], self.stops.columns(self.chosen)
        if held(self._cones, state.shares[count : count + len(own)]):
            return OVERLAP_MM
        return max(float(self.stops.allowed[k]) for k in state.forces)

    @cached_property
    def _cones(self) -> Cones:
        own, stops = self.stops.columns(self.chosen), self.stops
        count, listed = self.works.shape[1], list(self.chosen)
        C = self.moved[:, count : count + len(own)]
        return Cones(
            starts=np.cumsum([0, *stops.sizes[listed]]),
            clearance=stops.clearance[listed],
            rest=stops.rest[own],
            is_one_sided=stops.is_one_sided[listed],
            compliance=(C + C.T) / 2,
            rigid=self.moved[:, count + len(own) :],
        )
