"""The reduced model of a meshed case, from some solutions of the full one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipeline.errors import SolveError
from pipeline.fem.contact.bodies import Floating
from pipeline.fem.contact.cones import NotHeldError
from pipeline.fem.contact.rules import Rules
from pipeline.fem.contact.touching import Touching
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Ints
from pipeline.fem.stiffness import Stiffness
from pipeline.measures.play import NEARBY
from pipeline.measures.quality import strain_energy
from pipeline.reduced.greedy import Spanned, compressed, span
from pipeline.reduced.model import BeyondError, Reduced
from pipeline.reduced.ranges import Ranges
from pipeline.reduced.reading import Fields, Seen
from pipeline.reduced.readout import Coordinates
from pipeline.reduced.space import Grower
from pipeline.reduced.terms import Terms
from pipeline.reduced.twin import Twin
from pipeline.run.columns import MOTIONS
from pipeline.run.equilibrium import SETTLED, Prepared
from pipeline.run.refined import bone_ends, duals_of

SOFT = 0.02  # of the range of the tissue's modulus, at which stops are looked for
LEFT = 1e-4  # of the forces that snapshots leave: the space errs by its square
MOST_COUNTED = 1e3
OF_STOPS = 0.2  # of a whole load, that a stop's force matters
LOOKED_AT = 24  # points of the ranges at which states are looked at
SIZES = (0.4, 1.0, 1.5)  # of each load, at which more stops are looked for
SEED = 5
SHARES = (1.0, *(NEARBY[way] for way in SETTLED))  # of each load, under which surfaces may not overlap


@dataclass(frozen=True)
class UnitForces:
    """Forces that a reduced model answers: of unit loads, of duals of the bone ends, and of stops.

    Parameters
    ----------
    prepared : Prepared
        The full model.
    ranges : Ranges
        Of its materials.
    loads : dict of str to Array
        Loads under which stops are looked for.
    floating : Floating
        Bodies that only stops hold.
    chosen : tuple of int
        Stops that were found to bear, in the order in which they were found.
    forces : Array
        Nodal forces (3 n, columns), N, in balance on each floating body.
    weights : Array
        How much each matters (columns,).
    """

    prepared: Prepared
    ranges: Ranges
    loads: Mapping[str, Array]
    floating: Floating
    chosen: tuple[int, ...]
    forces: Array
    weights: Array

    @classmethod
    def of(
        cls, prepared: Prepared, ranges: Ranges, loads: Mapping[str, Array], first: Touching
    ) -> UnitForces:
        """Begin with the stops that were found to bear at one point of the ranges."""
        duals = duals_of(bone_ends(prepared.mesh, prepared.geometry), len(prepared.mesh.nodes))
        forces = first.floating.balanced(np.concatenate([prepared.units, duals], axis=2))
        flat = forces.reshape(prepared.mesh.unknowns, -1)
        plain = cls(prepared, ranges, loads, first.floating, (), flat, np.ones(flat.shape[1]))
        return plain.with_stops(first.chosen)

    def with_stops(self, more: Iterable[int]) -> UnitForces:
        """With the unit forces of more stops."""
        listed, stops = [k for k in more if k not in self.chosen], self.prepared.stops
        if not listed:
            return self
        added = self.floating.balanced(stops.forces(stops.columns(listed)))
        return replace(
            self,
            chosen=(*self.chosen, *listed),
            forces=np.hstack([self.forces, added.reshape(len(self.forces), -1)]),
            weights=np.append(self.weights, np.full(added.shape[2], OF_STOPS)),
        )

    def solved(self, stiffness: Stiffness, columns: Ints, guess: Array | None) -> Array:
        """Answers (3 n, columns) to some of the forces, as closely as a space needs them."""
        solver, floating = self.prepared.solver(stiffness)
        shape, wanted = (len(self.prepared.mesh.nodes), 3, -1), self.forces[:, columns]
        begin = np.zeros(wanted.shape) if guess is None else guess
        found = solver.loosely(wanted.reshape(shape), begin.reshape(shape), LEFT)
        return floating.balanced(found).reshape(wanted.shape)

    def extended(self, found: Spanned) -> UnitForces:
        """With the stops that surfaces overlap at, in states that the space answers."""
        if not self.prepared.stops.listed:
            return self
        model, wanted = self.model(found), set[int]()
        for point in self.ranges.spread(LOOKED_AT, SEED):
            bearing = model.at(self.ranges.at(point)).bearing
            for load in self.loads.values():
                for share in SIZES:
                    try:
                        state = bearing.under(share * load)
                    except (NotHeldError, SolveError):
                        continue  # other stops will hold it, or nothing does
                    wanted |= model.stops.worst(state.overlap - model.stops.allowed)
        return self.with_stops(sorted(wanted))

    @property
    def _duals(self) -> int:
        return MOTIONS if self.prepared.geometry.gap is not None else 0

    def model(self, found: Spanned) -> Reduced:
        """The reduced model of a space."""
        stops, units = self.prepared.stops, self.prepared.units.shape[2]
        order = np.argsort(self.chosen)
        own = [stops.columns([stop]) for stop in self.chosen]
        ends = np.cumsum([units + self._duals, *(len(one) for one in own)])
        columns = [np.arange(ends[k], ends[k + 1]) for k in order]
        kept = np.concatenate([np.arange(units), *columns])
        space = found.space.vectors.reshape(len(self.prepared.mesh.nodes), 3, -1)
        return Reduced(
            ranges=self.ranges,
            stiffness=found.space.terms,
            forces=found.forces[:, kept],
            inner=len(found.forces),
            quick=len(found.forces),
            stops=Rules(stops.listed),
            chosen=tuple(sorted(self.chosen)),
            moved=np.hstack([stops.movements(space), stops.movements(self.floating.modes)]),
            works=self.floating.resultants(self.prepared.units),
            worst=found.worst,
        )


def _counts(mesh: Mesh, touching: Touching, elasticity: Array) -> Array:
    """How often each part must count (parts,) to have as much of a unit load's energy as others."""
    units = touching.solution.displacement[:, :, : touching.units.shape[2]]
    own = np.eye(len(elasticity))[:, :, None, None] * elasticity
    energies = np.stack([np.diag(strain_energy(mesh, units, one)) for one in own])
    shares = (energies / energies.sum(axis=0)).mean(axis=1)
    return np.clip(1 / (len(shares) * np.maximum(shares, np.finfo(float).tiny)), 1.0, MOST_COUNTED)


def reduced_twin(prepared: Prepared, loads: Mapping[str, Array]) -> Twin:
    """Make the reduced model of a meshed case, with the stops that bear under some loads.

    Raises
    ------
    SolveError
        If a load is not held over soft tissue.
    """
    mesh, terms = prepared.mesh, Terms.of(prepared.mesh)
    ranges = Ranges.of(terms)
    soft = terms.elasticity(ranges.at(ranges.soft(SOFT)))
    solver, floating = prepared.solver(prepared.assembled(soft))
    tried = {(name, share): share * load for name, load in loads.items() for share in SHARES}
    first, _ = Touching.of(solver, prepared.stops, floating, prepared.units, ()).settle(solver, tried)
    middle = terms.elasticity(ranges.at(np.full(ranges.dimension, 0.5)))
    counted = middle * _counts(mesh, first, soft)[:, None, None]
    grower = Grower.of(mesh, prepared.pattern, terms, counted)
    spanned, sources = span(grower, ranges, UnitForces.of(prepared, ranges, loads, first))
    small, inner, quick = compressed(spanned, ranges, sources.weights)
    model = replace(sources.model(small), inner=inner, quick=quick)
    space = small.space.vectors.reshape(len(mesh.nodes), 3, -1)
    vectors = np.concatenate([space, floating.modes], axis=2)
    units, columns = prepared.units.shape[2], model.forces.shape[1]
    count = Coordinates(len(small.forces), floating.modes.shape[2], columns - units, units)
    forces = count.wide(np.eye(count.stops), count.space + count.motions)
    bears = replace(first, chosen=model.chosen)
    fields = Fields(
        mesh, prepared.geometry, terms, count, vectors, prepared.units,
        tuple(bears.pairs(mesh, forces)), prepared.held, small.space.terms,
    )  # fmt: skip
    return Twin(model, fields.read(list(_seen(model, ranges, loads))))


def _seen(model: Reduced, ranges: Ranges, loads: Mapping[str, Array]) -> Iterator[Seen]:
    """States under all loads at some points of the ranges."""
    for point in ranges.spread(LOOKED_AT, SEED):
        answered = model.at(ranges.at(point))
        found = []
        for load in loads.values():
            try:
                found.append(answered.under(load).coordinates)
            except BeyondError:
                continue  # solved in full if it is ever asked for
        if found:
            yield Seen(answered.weights, np.stack(found, axis=1))
