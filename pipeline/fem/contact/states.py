"""Equilibrium under a load, and the solutions that measures are read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.fem.contact.rules import Rules
from pipeline.fem.solver.solve import Solution
from pipeline.fem.space import Array, Ints


@dataclass(frozen=True)
class State:
    """Equilibrium under one load.

    Parameters
    ----------
    shares : Array
        Of all columns (columns,).
    forces : dict of int to Array
        Force (directions,), N, of each stop that bears, by its number.
    moved : Array
        Movement with rest of every stop (components,), mm.
    overlap : Array
        How far each stop is overrun (stops,), mm; negative is what is left of its clearance.
    """

    shares: Array
    forces: dict[int, Array]
    moved: Array
    overlap: Array

    def used(self, stops: Rules) -> Array:
        """Share of its clearance that each stop has used (stops,); 1 where it bears, or has none."""
        room = stops.clearance
        return np.divide(self.overlap, room, out=np.zeros(len(room)), where=room > 0) + 1


@dataclass(frozen=True)
class Pair:
    """What a stop pushes: nodal forces in balance, on two bodies.

    Parameters
    ----------
    point : Array
        Where it is read (3,), mm; what a cut through its window divides lies on this side.
    nodes : Ints
        Nodes (k,).
    forces : Array
        (k, 3, columns), N.
    """

    point: Array
    nodes: Ints
    forces: Array


@dataclass(frozen=True)
class Basis:
    """Solutions that measures are read from, and the share of each in every load.

    Parameters
    ----------
    solution : Solution
        Displacements and reactions (n, 3, columns).
    loads : Array
        Nodal forces of loads (n, 3, columns), N.
    pairs : tuple of Pair
        Nodal forces of stops.
    shares : dict of str to Array
        Shares (columns,) by load.
    """

    solution: Solution
    loads: Array
    pairs: tuple[Pair, ...]
    shares: dict[str, Array]

    @property
    def forces(self) -> Array:
        """Nodal forces of loads and stops (n, 3, columns), N."""
        total = self.loads.copy()
        for pair in self.pairs:
            total[pair.nodes] += pair.forces
        return total

    def energy(self, load: str) -> float:
        """Twice the strain energy under a load, N·mm."""
        shares = self.shares[load]
        return float(np.vdot(self.forces @ shares, self.solution.displacement @ shares))
