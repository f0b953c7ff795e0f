"""The reduced model of a meshed construct: what bears and how it moves, at any of its materials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.contact.bearing import Bearing
from pipeline.fem.contact.cones import NotHeldError
from pipeline.fem.contact.rules import Rules
from pipeline.fem.contact.states import State
from pipeline.fem.space import Array
from pipeline.reduced.greedy import answered
from pipeline.reduced.ranges import Ranges
from pipeline.reduced.terms import BeyondError as BeyondError


@dataclass(frozen=True)
class Reduced:
    """A construct in a few hundred coordinates.

    Parameters
    ----------
    ranges : Ranges
        Materials that it covers.
    stiffness : Array
        Of each term (terms, r, r), N·mm.
    forces : Array
        Works of the unit loads and of the chosen stops' unit forces in the coordinates (r, columns).
    inner : int
        Coordinates that the first snapshots gave: an answer without the others tells its own error.
    quick : int
        Coordinates that answer movements, where they are asked for again and again.
    stops : Rules
        All that can touch.
    chosen : tuple of int
        Stops that are among the forces.
    moved : Array
        Movements of all stops (components, r + modes), mm, in the coordinates and rigid motions.
    works : Array
        Work of the unit loads in the rigid motions (modes, units).
    worst : float
        Largest share of a compliance that the last snapshots added anywhere in the ranges.
    """

    ranges: Ranges
    stiffness: Array
    forces: Array
    inner: int
    quick: int
    stops: Rules
    chosen: tuple[int, ...]
    moved: Array
    works: Array
    worst: float

    def at(self, weights: Array, clearance: Mapping[str, float] | None = None) -> Answered:
        """The construct at numbers of the terms (terms,), with other clearances, mm, of some touches.

        Raises
        ------
        BeyondError
            If a number leaves its range.
        """
        outside = self.ranges.outside(weights)
        if outside:
            raise BeyondError(f"{outside}: solve this one in full")
        return Answered(self, weights, self._stops(clearance or {}), len(self.forces))

    def _stops(self, clearance: Mapping[str, float]) -> Rules:
        if not clearance:
            return self.stops
        listed = tuple(
            replace(stop, clearance=clearance.get(stop.touch, stop.clearance))
            for stop in self.stops.listed
        )
        return Rules(listed)


@dataclass(frozen=True)
class Answered:
    """A reduced model at some materials, in its first coordinates.

    Coordinates of a state are those of the space, rigid motions, forces of the chosen stops, and shares
    of the unit loads, in this order.

    Parameters
    ----------
    model : Reduced
        The model.
    weights : Array
        Numbers of the terms (terms,).
    stops : Rules
        With the clearances that are asked for.
    count : int
        How many coordinates are used.
    """

    model: Reduced
    weights: Array
    stops: Rules
    count: int

    @property
    def inner(self) -> Answered:
        """The same without the coordinates that the last snapshots gave."""
        return replace(self, count=self.model.inner)

    @property
    def quick(self) -> Answered:
        """The same by the weightiest coordinates alone."""
        return replace(self, count=self.model.quick)

    @cached_property
    def answers(self) -> Array:
        """Coordinates (r, columns) of the answers to the forces."""
        n = self.count
        stiffness = np.tensordot(self.weights, self.model.stiffness[:, :n, :n], axes=1)
        return answered(stiffness, self.model.forces[:n])

    @cached_property
    def bearing(self) -> Bearing:
        """What bears under any load."""
        model, r = self.model, len(self.model.forces)
        own = self.stops.columns(model.chosen)
        moved = np.hstack([model.moved[own, : self.count] @ self.answers, model.moved[own, r:]])
        return Bearing(self.stops, model.chosen, moved, model.works, self._everywhere)

    def _everywhere(self, shares: Array) -> Array:
        """Movements of all stops (components,) under shares of the columns, mm."""
        model, (r, columns) = self.model, self.model.forces.shape
        answer = self.answers @ shares[:columns]
        return np.asarray(model.moved[:, : self.count] @ answer + model.moved[:, r:] @ shares[columns:])

    def under(self, load: Array) -> State:
        """Equilibrium under a load (shares of the unit loads).

        Raises
        ------
        BeyondError
            If stops bear that the model does not have, or nothing holds the load.
        """
        try:
            state = self.bearing.under(load)
        except (NotHeldError, SolveError) as error:
            raise BeyondError(f"no state of balance ({error}): solve this one in full") from None
        over = state.overlap - self.stops.allowed
        if len(over) and over.max() > 0:
            touch = self.stops.listed[int(over.argmax())].touch
            raise BeyondError(f"{touch} bears where no snapshot had it: solve this one in full")
        return state

    def coordinates(self, shares: Array) -> Array:
        """Coordinates of a state, from its shares of the columns: unit loads, stops, rigid motions."""
        r, columns = self.model.forces.shape
        units = self.model.works.shape[1]
        found = np.zeros(r)
        found[: self.count] = self.answers @ shares[:columns]
        return np.concatenate([found, shares[columns:], shares[units:columns], shares[:units]])
