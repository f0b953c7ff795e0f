"""What is read from any state of a reduced model: the full model's readings, in its coordinates.

Coordinates are those of the space, rigid motions of floating bodies, forces of the chosen stops, and
shares of the unit loads, in this order. What is linear in them is read once. Forces inside are sums
over the two layers of the materials: what one matrix of a material gives, and what its other does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geometries.solids import Geometry
from pipeline.fem.space import Array
from pipeline.measures.bone import Sleeve, Zone
from pipeline.measures.cells import ShearedCells
from pipeline.measures.factored import FactoredField
from pipeline.measures.implants import DeformedImplant
from pipeline.measures.motion import Motion
from pipeline.measures.plausibility import Gates
from pipeline.measures.readings import Readings
from pipeline.measures.sections import FreeBody, Section
from pipeline.reduced.terms import Terms, spans

LAYERS = 2  # matrices of a material at most; after them comes what stops and loads do directly


@dataclass(frozen=True)
class Coordinates:
    """How many coordinates of each kind there are."""

    space: int
    motions: int
    stops: int
    units: int

    @property
    def count(self) -> int:
        """All of them."""
        return self.space + self.motions + self.stops + self.units

    def wide(self, values: Array, first: int = 0) -> Array:
        """Values (..., k) of the coordinates from the first on, with zeros for all others."""
        found = np.zeros((*values.shape[:-1], self.count))
        found[..., first : first + values.shape[-1]] = values
        return found


@dataclass(frozen=True)
class Layered:
    """Force and moment in the coordinates, layer by layer.

    Parameters
    ----------
    part : int
        Number of the part whose cells exert it; -1 if its layers belong to no part.
    layers : Array
        (LAYERS + 1, 6, coordinates), N and N·mm.
    """

    part: int
    layers: Array

    def through(self, states: Array) -> Layered:
        """The same where the coordinates are those of states (coordinates, states)."""
        return replace(self, layers=self.layers @ states)

    def at(self, numbers: Array) -> Array:
        """The sum (6, coordinates) with the numbers of each part's layers (LAYERS + 1, parts)."""
        if self.part < 0:
            return np.asarray(self.layers[-1])
        return np.asarray(np.tensordot(numbers[:, self.part], self.layers, axes=1))


@dataclass(frozen=True)
class LayeredSection:
    """A cut through the shaft: what each part carries, layer by layer, and where."""

    level: float
    axis: tuple[float, float]
    parts: dict[str, Layered]
    centres: dict[str, Array]

    def through(self, states: Array) -> LayeredSection:
        """The same where the coordinates are those of states (coordinates, states)."""
        return replace(self, parts={name: one.through(states) for name, one in self.parts.items()})

    def at(self, numbers: Array) -> Section:
        """The cut with the numbers of each part's layers."""
        parts = {name: one.at(numbers) for name, one in self.parts.items()}
        return Section(self.level, parts, self.centres, self.axis)


@dataclass(frozen=True)
class LayeredBody:
    """A bone fragment: what acts on it, layer by layer; of supports what each part's cells take."""

    about: Array
    acting: dict[str, Layered]
    held: tuple[Layered, ...]
    loads: Array

    def through(self, states: Array) -> LayeredBody:
        """The same where the coordinates are those of states (coordinates, states)."""
        acting = {name: one.through(states) for name, one in self.acting.items()}
        held = tuple(one.through(states) for one in self.held)
        return replace(self, acting=acting, held=held, loads=self.loads @ states)

    def at(self, numbers: Array) -> FreeBody:
        """The fragment with the numbers of each part's layers."""
        acting = {name: one.at(numbers) for name, one in self.acting.items()}
        applied = self.loads + sum(one.at(numbers) for one in self.held)
        return FreeBody(self.about, acting, np.asarray(applied))


@dataclass(frozen=True)
class Readout:
    """All that is read of a construct, in the coordinates of its reduced model.

    Parameters
    ----------
    terms : Terms
        Which numbers its materials have.
    motions : dict of str to Motion
        Rigid motions of the named faces.
    shaft : tuple of Motion
        Those up the shaft.
    energy : Array
        Twice the mutual energies of each term between the reference sections (terms, r, r), N·mm.
    tissue : dict of str to (FactoredField, int)
        Strains of the tissue by region, and the number of its part.
    implants : tuple of (DeformedImplant, int)
        Each implant part, its hot cells alone, and its number.
    sections, bodies, pins, sleeves, zones, nail :
        As in `Readings`, layer by layer.
    cells : dict of str to ShearedCells
        What pictures show of implants and tissue.
    volume : float
        How far the volume of any part of the mesh is from the exact one, a share.
    """

    terms: Terms
    motions: dict[str, Motion]
    shaft: tuple[Motion, ...]
    energy: Array
    tissue: dict[str, tuple[FactoredField, int]]
    implants: tuple[tuple[DeformedImplant, int], ...]
    sections: dict[str, LayeredSection]
    bodies: dict[str, LayeredBody]
    pins: tuple[tuple[str, str, Layered], ...]
    sleeves: tuple[Sleeve, ...]
    zones: tuple[tuple[Zone, int], ...]
    nail: tuple[Array, float] | None
    cells: dict[str, ShearedCells]
    volume: float

    def through(self, states: Array, *, has_energy: bool = True) -> Readout:
        """The same where the coordinates are shares of some states.

        Whatever is read of a few states costs little from then on.

        Parameters
        ----------
        states : Array
            (coordinates, states).
        has_energy : bool
            Whether the energy between the sections is asked for, which is NaN else; where stops bear,
            nothing needs it.
        """
        nothing = np.full((len(self.energy), *states.shape[1:] * 2), np.nan)
        return replace(
            self,
            motions={name: one.through(states) for name, one in self.motions.items()},
            energy=_between(self.energy, states) if has_energy else nothing,
            tissue={name: (one.through(states), part) for name, (one, part) in self.tissue.items()},
            implants=tuple((one.through(states), part) for one, part in self.implants),
            sections={place: one.through(states) for place, one in self.sections.items()},
            bodies={name: one.through(states) for name, one in self.bodies.items()},
            pins=tuple((name, plane, one.through(states)) for name, plane, one in self.pins),
            sleeves=tuple(replace(one, strain=one.strain.through(states)) for one in self.sleeves),
            zones=tuple(
                (replace(zone, energy=_between(zone.energy, states)), part) for zone, part in self.zones
            ),
            nail=self.nail and (self.nail[0] @ states, self.nail[1]),
        )

    def readings(self, geometry: Geometry, weights: Array) -> Readings:
        """Readings at numbers of the terms (terms,), whose columns are the coordinates."""
        elasticity, numbers = self.terms.elasticity(weights), self._numbers(weights)
        count = next(iter(self.motions.values())).translation.shape[1]
        energy = np.zeros((count, count))
        r = self.energy.shape[1]
        energy[:r, :r] = np.tensordot(weights, self.energy, axes=1)
        pins = {pin.name: pin for pin in geometry.pins}
        return Readings(
            geometry=geometry,
            motions=self.motions,
            energy=energy,
            tissue={name: (strain, elasticity[part]) for name, (strain, part) in self.tissue.items()},
            implants=self.deformed(weights),
            sections={place: one.at(numbers) for place, one in self.sections.items()},
            pins=tuple((pins[name], plane, one.at(numbers)) for name, plane, one in self.pins),
            bodies={name: one.at(numbers) for name, one in self.bodies.items()},
            sleeves=self.sleeves,
            zones=tuple(
                replace(zone, energy=numbers[0, part] * zone.energy) for zone, part in self.zones
            ),
            nail=self.nail,
            gates=Gates.of(geometry, elasticity),
        )

    def deformed(self, weights: Array) -> tuple[DeformedImplant, ...]:
        """The implants at numbers of the terms (terms,)."""
        elasticity = self.terms.elasticity(weights)
        return tuple(replace(one, elasticity=elasticity[part]) for one, part in self.implants)

    def _numbers(self, weights: Array) -> Array:
        """Number of each layer of each part (LAYERS + 1, parts); 1 of what no material does."""
        found = np.zeros((LAYERS + 1, self.terms.count))
        found[-1] = 1.0
        for group, span in spans(self.terms.groups):
            for layer, number in enumerate(weights[span]):
                found[layer, group.parts] = number
        return found


def _between(energy: Array, states: Array) -> Array:
    """Energies (..., states, states) of the first coordinates' energies (..., r, r)."""
    own = states[: energy.shape[-1]]
    return np.asarray(own.T @ (energy @ own))
