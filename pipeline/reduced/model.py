"""The reduced model of a meshed construct: what bears and how it moves, at any of its materials."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.linalg import cho_solve

from pipeline.errors import SolveError
from pipeline.fem.contact.bearing import Bearing
from pipeline.fem.contact.cones import NotHeldError
from pipeline.fem.contact.rules import Rules
from pipeline.fem.contact.states import State
from pipeline.fem.space import Array, Ints
from pipeline.reduced.greedy import factored
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
        stops = self._stops(clearance or {})
        return Answered(self, weights, stops, len(self.forces), self.chosen)

    @cached_property
    def units(self) -> int:
        """Number of unit loads."""
        return self.works.shape[1]

    @cached_property
    def columns(self) -> dict[int, Ints]:
        """Columns of the forces of each chosen stop."""
        ends = self.units + np.cumsum([0, *self.stops.sizes[list(self.chosen)]])
        return {
            stop: np.arange(a, b) for stop, a, b in zip(self.chosen, ends[:-1], ends[1:], strict=True)
        }

    def _stops(self, clearance: Mapping[str, float]) -> Rules:
        if not clearance:
            return self.stops
        listed = tuple(
            replace(stop, clearance=clearance.get(stop.touch, stop.clearance))
            for stop in self.stops.listed
        )
        return Rules(listed)


@dataclass(frozen=True)
class Borne:
    """A state of balance, and its coordinates (coordinates,)."""

    state: State
    coordinates: Array


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
    among : tuple of int
        Chosen stops that are expected to bear, rising; more are taken up where they do.
    known : Array, optional
        Factor (r, r) of the stiffness in these or in more coordinates, lower.
    """

    model: Reduced
    weights: Array
    stops: Rules
    count: int
    among: tuple[int, ...]
    known: Array | None = None

    @property
    def inner(self) -> Answered:
        """The same without the coordinates that the last snapshots gave."""
        return replace(self, count=self.model.inner, known=self.factor)

    @property
    def quick(self) -> Answered:
        """The same by the weightiest coordinates alone."""
        return replace(self, count=self.model.quick)

    def expecting(self, stops: Iterable[int]) -> Answered:
        """The same where just these of the chosen stops are expected to bear."""
        among = tuple(sorted(stops))
        return self if among == self.among else replace(self, among=among, known=self.factor)

    @cached_property
    def kept(self) -> Ints:
        """Columns of the unit loads and of the stops that are expected to bear."""
        return np.concatenate(
            [np.arange(self.model.units), *(self.model.columns[stop] for stop in self.among)]
        )

    @cached_property
    def factor(self) -> Array:
        """Of the stiffness (count, count), lower; its leading block is that of fewer coordinates."""
        n = self.count
        if self.known is not None:
            return self.known[:n, :n]
        return factored(np.tensordot(self.weights, self.model.stiffness[:, :n, :n], axes=1))

    @cached_property
    def answers(self) -> Array:
        """Coordinates (r, kept columns) of the answers to their forces."""
        forces = self.model.forces[: self.count, self.kept]
        return np.asarray(cho_solve((self.factor, True), forces, check_finite=False))

    @cached_property
    def bearing(self) -> Bearing:
        """What bears under any load, of the stops that are expected to."""
        model, r = self.model, len(self.model.forces)
        own = self.stops.columns(self.among)
        moved = np.hstack([model.moved[own, : self.count] @ self.answers, model.moved[own, r:]])
        return Bearing(self.stops, self.among, moved, model.works, self._everywhere)

    def _everywhere(self, shares: Array) -> Array:
        """Movements of all stops (components,) under shares of the columns, mm."""
        model, r, columns = self.model, len(self.model.forces), len(self.kept)
        answer = self.answers @ shares[:columns]
        return np.asarray(model.moved[:, : self.count] @ answer + model.moved[:, r:] @ shares[columns:])

    def under(self, load: Array) -> Borne:
        """Equilibrium under a load (shares of the unit loads).

        Where those that are expected to bear leave others clear, it is that of all.

        Raises
        ------
        BeyondError
            If stops bear that the model does not have, or nothing holds the load.
        """
        others = [stop for stop in self.model.chosen if stop not in self.among]
        try:
            state = self.bearing.under(load)
        except (NotHeldError, SolveError) as error:
            if others:
                return self.expecting(self.model.chosen).under(load)
            raise BeyondError(f"no state of balance ({error}): solve this one in full") from None
        if overrun := [stop for stop in others if state.overlap[stop] > 0]:
            return self.expecting({*self.among, *overrun}).under(load)
        over = state.overlap - self.stops.allowed
        if len(over) and over.max() > 0:
            touch = self.stops.listed[int(over.argmax())].touch
            raise BeyondError(f"{touch} bears where no snapshot had it: solve this one in full")
        return Borne(state, self._coordinates(state.shares))

    def _coordinates(self, shares: Array) -> Array:
        """Coordinates of a state, from its shares: unit loads, expected stops, rigid motions."""
        r, columns = self.model.forces.shape
        units, count = self.model.units, len(self.kept)
        found, all_shares = np.zeros(r), np.zeros(columns)
        found[: self.count] = self.answers @ shares[:count]
        all_shares[self.kept] = shares[:count]
        return np.concatenate([found, shares[count:], all_shares[units:], all_shares[:units]])
