"""Reads the vectors of a space on their mesh, once for all states."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometries.solids import Geometry
from pipeline.fem.contact.states import Pair
from pipeline.fem.mesh import Mesh, cell_volumes
from pipeline.fem.space import Array, Flags
from pipeline.fem.tetrahedra import Tetrahedra
from pipeline.measures.bone import Sleeve, Zone, sleeves, zones
from pipeline.measures.cells import ShearedCells, sheared_cells
from pipeline.measures.factored import Factored, FactoredField
from pipeline.measures.field import Field
from pipeline.measures.forces import Inside
from pipeline.measures.implants import DeformedImplant, implants
from pipeline.measures.load_point import stations
from pipeline.measures.motion import Motion, face_motion, without_rigid
from pipeline.measures.quality import strain_energy
from pipeline.measures.readings import levels, nail_in_canal, tissue_fields
from pipeline.measures.sections import FRAGMENTS, cut_level, cut_pin, free_body
from pipeline.reduced.readout import (
    LAYERS,
    Coordinates,
    Layered,
    LayeredBody,
    LayeredSection,
    Readout,
)
from pipeline.reduced.terms import Terms

HOT = 0.95  # of the level that a hundredth of a part exceeds, from which a cell may be hot
LOST = 1e-6  # of an implant's movement, of which strain is a small part


@dataclass(frozen=True)
class Seen:
    """States that were looked at (coordinates, states), at numbers of the terms (terms,)."""

    weights: Array
    states: Array


@dataclass(frozen=True)
class Fields:
    """What a reduced model is read from.

    Parameters
    ----------
    mesh, geometry, terms :
        The construct.
    count : Coordinates
        How many coordinates there are.
    vectors : Array
        Fields of the space and rigid motions of floating bodies (n, 3, r + motions), mm.
    units : Array
        Nodal forces of the unit loads (n, 3, units), N.
    pairs : tuple of Pair
        Nodal forces of the chosen stops, whose columns are all coordinates.
    held : array of bool
        Components (n, 3) that the support holds.
    stiffness : Array
        Of each term in the space (terms, r, r), N·mm.
    """

    mesh: Mesh
    geometry: Geometry
    terms: Terms
    count: Coordinates
    vectors: Array
    units: Array
    pairs: tuple[Pair, ...]
    held: Flags
    stiffness: Array

    def read(self, seen: Sequence[Seen]) -> Readout:
        """Read all; fields keep what the seen states need of them."""
        mesh, geometry, gap = self.mesh, self.geometry, self.geometry.gap
        states = np.concatenate([one.states for one in seen], axis=1)
        bone = [k for k, part in enumerate(mesh.parts) if part.role == "cortex"]
        return Readout(
            terms=self.terms,
            motions={name: self._wide(name) for name in mesh.patches},
            shaft=tuple(self._rigid(one) for one in stations(mesh, geometry, self.vectors)),
            energy=self._energy(),
            tissue=dict(self._tissue(states)),
            implants=tuple(self._implants(seen, states)),
            sections=dict(self._sections()),
            bodies={name: self._body(name) for name in (FRAGMENTS if gap else ())},
            pins=tuple(self._pins()),
            sleeves=tuple(self._sleeves(states)),
            zones=tuple((one, bone[0]) for one in self._zones()),
            nail=self._nail(),
            cells=dict(self._cells(states)),
            volume=mesh.worst_volume[1],
        )

    def _layers(self) -> Iterator[Inside]:
        """What is inside of each layer of the materials, and of what no material does."""
        own = self.terms.layered(LAYERS)
        for elasticity in own:
            yield Inside(self.mesh, elasticity, self.vectors)
        nothing = np.zeros((*self.mesh.nodes.shape, self.count.count))
        yield Inside(self.mesh, np.zeros(own[0].shape), nothing, self.pairs)

    def _sections(self) -> Iterator[tuple[str, LayeredSection]]:
        *inside, direct = self._layers()
        for place, cut in levels(self.geometry).items():
            cuts = [cut_level(one, *cut) for one in (*inside, direct)]
            parts = {
                name: self._layered(name, [one.parts[name] for one in cuts]) for name in cuts[0].parts
            }
            yield place, LayeredSection(cuts[0].level, cuts[0].axis, parts, cuts[0].centres)

    def _pins(self) -> Iterator[tuple[str, str, Layered]]:
        layers = tuple(self._layers())
        for pin in self.geometry.pins:
            for plane in pin.planes:
                yield (
                    pin.name,
                    plane,
                    self._layered(pin.name, [cut_pin(one, pin, plane) for one in layers]),
                )

    def _body(self, fragment: str) -> LayeredBody:
        """The free body of a fragment; supports take what they exert on the cells that they hold."""
        about, layers = np.asarray(self.geometry.top), tuple(self._layers())
        outside = self.count.wide(self.units, self.count.count - self.units.shape[2])
        still = np.zeros(self.vectors.shape)
        *bodies, direct = (
            free_body(one, fragment, outside if one is layers[-1] else still, about) for one in layers
        )
        acting = {}
        for name in bodies[0].acting | bodies[-1].acting:
            none = np.zeros((6, self.vectors.shape[2]))
            found = [one.acting.get(name, none) for one in bodies]
            acting[name] = self._layered(name, [*found, np.zeros((6, self.count.count))])
        if "contact" in direct.acting:
            acting["contact"] = Layered(-1, self._stacked([direct.acting["contact"]]))
        return LayeredBody(about, acting, tuple(self._held(fragment, layers)), direct.applied)

    def _held(self, fragment: str, layers: Sequence[Inside]) -> Iterator[Layered]:
        """What the support exerts on a fragment, by the part whose cells it holds."""
        mesh, nodes = self.mesh, np.asarray(self.held.any(axis=1))
        for number, part in enumerate(mesh.parts):
            cells = np.flatnonzero(mesh.part_of == number)
            if part.name.endswith(fragment) and nodes[mesh.cells[cells]].any():
                about = np.asarray(self.geometry.top)
                yield self._layered(part.name, [one.pull(cells, nodes, about) for one in layers])

    def _layered(self, part: str, layers: Sequence[Array]) -> Layered:
        names = [one.name for one in self.mesh.parts]
        return Layered(names.index(part), self._stacked(layers))

    def _stacked(self, layers: Sequence[Array]) -> Array:
        return np.stack([self._wide_array(one) for one in layers])

    def _wide_array(self, values: Array) -> Array:
        return values if values.shape[-1] == self.count.count else self.count.wide(values)

    def _rigid(self, motion: Motion) -> Motion:
        """A motion in all coordinates, without what it leaves over."""
        both = self.count.wide(motion.translation), self.count.wide(motion.rotation)
        return Motion(motion.about, *both, np.zeros((0, 0)))

    def _wide(self, name: str) -> Motion:
        """Motion of a patch in all coordinates; only that of a bone end needs what it leaves over."""
        motion = face_motion(self.mesh, name, self.vectors)
        if not name.startswith("gap_"):
            return self._rigid(motion)
        r = len(motion.misfit)
        misfit = np.zeros((self.count.count,) * 2)
        misfit[:r, :r] = motion.misfit
        return replace(self._rigid(motion), misfit=misfit)

    def _energy(self) -> Array:
        """Energies of each term between the reference sections: all but what lies beyond them."""
        mesh, (low, high) = self.mesh, self.geometry.sections
        heights = mesh.nodes[mesh.cells[:, :4], 2].mean(axis=1)
        beyond = np.flatnonzero((heights <= low) | (heights >= high))
        space = self.vectors[:, :, : self.count.space]
        left_out = [strain_energy(mesh, space, one, beyond) for one in self.terms.elasticities]
        return self.stiffness - np.stack(left_out)

    def _tissue(self, states: Array) -> Iterator[tuple[str, tuple[FactoredField, int]]]:
        parts = [k for k, part in enumerate(self.mesh.parts) if part.material == "tissue"]
        elasticity = self.terms.layered(LAYERS)[0]
        fields = tissue_fields(self.mesh, elasticity, self.vectors)
        for part, (region, (field, _)) in zip(parts, fields.items(), strict=True):
            yield region, (self._factored(field, states), part)

    def _sleeves(self, states: Array) -> Iterator[Sleeve]:
        for pin in self.geometry.pins:
            for one in sleeves(self.mesh, pin, self.vectors):
                yield replace(one, strain=self._factored(one.strain, states))

    def _factored(self, field: Field | FactoredField, states: Array) -> FactoredField:
        assert isinstance(field, Field)  # as read from a mesh
        values = Factored.of(field.values, states[: field.values.shape[2]])
        return FactoredField(replace(values, right=self.count.wide(values.right)), field.weights)

    def _zones(self) -> Iterator[Zone]:
        if self.geometry.gap is not None:
            space, elasticity = self.vectors[:, :, : self.count.space], self.terms.layered(LAYERS)[0]
            for one in zones(self.mesh, self.geometry.gap, space, elasticity):
                energy = np.zeros((self.count.count,) * 2)
                energy[: self.count.space, : self.count.space] = one.energy
                yield replace(one, energy=energy)

    def _implants(self, seen: Sequence[Seen], states: Array) -> Iterator[tuple[DeformedImplant, int]]:
        """Implants without the cells whose stress is never among the highest."""
        wide = self.vectors.shape[2]
        names = [part.name for part in self.mesh.parts]
        for one in implants(self.mesh, self.terms.layered(LAYERS)[0], self.vectors):
            part = names.index(one.name)
            hot = np.zeros(len(one.body.cells), dtype=bool)
            for some in seen:
                own = replace(one, elasticity=self.terms.elasticity(some.weights)[part])
                for stressed in own.stresses(some.states[:wide]):
                    hot |= stressed.stress.max(axis=1) >= HOT * stressed.levels[0]
            yield self._hot(one, hot, states), part

    def _hot(self, one: DeformedImplant, hot: Flags, states: Array) -> DeformedImplant:
        """An implant's hot cells."""
        every, cells = one.body.nodes, one.body.cells
        nodes, place = np.unique(cells[hot], return_inverse=True)
        assert isinstance(one.displacement, np.ndarray)
        strained = without_rigid(every[nodes], one.displacement[nodes])
        moved = Factored.of(strained, states[: self.vectors.shape[2]], LOST)
        return replace(
            one,
            body=Tetrahedra(every[nodes], place.reshape(-1, cells.shape[1])),
            displacement=replace(moved, right=self.count.wide(moved.right)),
            elsewhere=float(cell_volumes(every[cells[~hot]]).sum()),
        )

    def _cells(self, states: Array) -> Iterator[tuple[str, ShearedCells]]:
        seen = states[: self.vectors.shape[2]]
        for name, one in sheared_cells(self.mesh, self.vectors, seen):
            wide = self.count.wide(one.shear.right)
            yield name, replace(one, shear=replace(one.shear, right=wide))

    def _nail(self) -> tuple[Array, float] | None:
        found = nail_in_canal(self.mesh, self.geometry, self.vectors)
        return found and (self.count.wide(found[0]), found[1])
