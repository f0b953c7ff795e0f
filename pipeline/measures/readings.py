"""Everything that is read from one tissue stage's unit solutions; a load only combines it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geometries.faces import Face
from geometries.readout import Pin
from geometries.solids import Geometry, Vector
from pipeline.fem.contact.states import Basis
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.bone import Sleeve, Zone, energy_density, sleeve_strain, sleeves, zones
from pipeline.measures.dictionary import Measure, Scheme
from pipeline.measures.factored import FactoredField
from pipeline.measures.field import Field, strain_field
from pipeline.measures.flags import clearance_use, flags
from pipeline.measures.forces import Inside
from pipeline.measures.gap import gap_movement, rim_movement, tissue
from pipeline.measures.implants import DeformedImplant, implant_stress, implants
from pipeline.measures.internal import (
    beam_stress,
    fragment_forces,
    load_shares,
    pin_forces,
    section_forces,
)
from pipeline.measures.motion import Motion, motions
from pipeline.measures.noise import load_sizes
from pipeline.measures.plausibility import Doubt, Gates
from pipeline.measures.quality import strain_energy
from pipeline.measures.sections import (
    FRAGMENTS,
    GAP,
    FreeBody,
    Section,
    cut_level,
    cut_pin,
    free_body,
)
from pipeline.measures.stiffness import by_energy, section_stiffness

ENDS = ("distal", "proximal")


@dataclass(frozen=True)
class Readings:
    """Motions, fields and internal forces under the unit loads of one stage.

    Parameters
    ----------
    geometry : Geometry
        Where things are.
    motions : dict of str to Motion
        Rigid motions of the named faces.
    energy : Array
        Twice the mutual strain energies between the reference sections (columns, columns), N·mm.
    tissue : dict of str to (Field, Array)
        Strains of the tissue and its stress over strain by region; empty where the gap is.
    implants : tuple of DeformedImplant
        Each implant part as deformed.
    sections : dict of str to Section
        Cuts through the shaft by place; the gap comes first.
    pins : tuple of (Pin, str, Array)
        Each plane of each bolt and screw and what goes through it.
    bodies : dict of str to FreeBody
        Free body of each bone end.
    sleeves, zones : tuple
        Bone round screws, and by distance from the gap.
    nail : (Array, float) or None
        Movement of a nail across its canal and the clearance.
    gates : Gates
        What the results are held against.
    """

    geometry: Geometry
    motions: dict[str, Motion]
    energy: Array
    tissue: dict[str, tuple[Field | FactoredField, Array]]
    implants: tuple[DeformedImplant, ...]
    sections: dict[str, Section]
    pins: tuple[tuple[Pin, str, Array], ...]
    bodies: dict[str, FreeBody]
    sleeves: tuple[Sleeve, ...]
    zones: tuple[Zone, ...]
    nail: tuple[Array, float] | None
    gates: Gates

    @classmethod
    def of(cls, mesh: Mesh, geometry: Geometry, elasticity: Array, basis: Basis) -> Readings:
        """Read the solutions of a stage."""
        u = basis.solution.displacement
        outside = basis.loads + basis.solution.reaction
        inside = Inside(mesh, elasticity, u, basis.pairs)
        heights = mesh.nodes[mesh.cells[:, :4], 2].mean(axis=1)
        low, high = geometry.sections
        between = np.flatnonzero((heights > low) & (heights < high))
        gap, whole = geometry.gap, geometry.gap if geometry.cuts else None
        sections = {place: cut_level(inside, *cut) for place, cut in levels(geometry).items()}
        return cls(
            geometry=geometry,
            motions=motions(mesh, geometry, u),
            energy=strain_energy(mesh, u, elasticity, between),
            tissue=tissue_fields(mesh, elasticity, u),
            implants=implants(mesh, elasticity, u),
            sections={GAP: sections[GAP].whole} if whole else sections,
            pins=tuple(
                (pin, plane, cut_pin(inside, pin, plane))
                for pin in geometry.pins
                for plane in pin.planes
            ),
            bodies={
                name: free_body(inside, name, outside, geometry.top, whole)
                for name in (FRAGMENTS if gap else ())
            },
            sleeves=tuple(one for pin in geometry.pins for one in sleeves(mesh, pin, u)),
            zones=tuple(zones(mesh, gap, u, elasticity)) if gap else (),
            nail=nail_in_canal(mesh, geometry, u),
            gates=Gates.of(geometry, elasticity),
        )

    def under(
        self,
        load: Array,
        shares: Array,
        schemes: tuple[Scheme, ...],
        *,
        is_linear: bool = True,
        has_fields: bool = True,
    ) -> tuple[list[Measure], list[Doubt]]:
        """All measures under a load, and what puts them in doubt.

        Parameters
        ----------
        load, shares : Array
            Shares of the unit loads, and of the columns that were read.
        schemes : tuple of str
            Strain-band schemes.
        is_linear : bool
            Whether no stop bears, so that work is half of force times movement.
        has_fields : bool
            Whether strains and stresses are read too, which takes the most time.
        """
        sizes = load_sizes(load, self.geometry.top[2])
        found = [*self.moved(load, shares, is_linear=is_linear), *self._forces(shares, sizes)]
        if has_fields:
            found += self._fields(shares, schemes)
        found += [energy_density(zone, shares) for zone in self.zones]
        can_overlap = "bone_ends" not in {stop.touch for stop in self.geometry.stops}
        doubts = [
            Doubt(one)
            for one in flags(
                found, self.nail, shares, has_tissue=bool(self.tissue), can_overlap=can_overlap
            )
        ]
        gated = self.gates.under(found, load, self.length, is_linear=is_linear)
        return found, [*doubts, *gated]

    @property
    def length(self) -> float:
        """Distance of the reference sections, mm."""
        distal, proximal = (self.motions[f"{end}_section"].about for end in ENDS)
        return float(proximal[2] - distal[2])

    @property
    def shear_modulus(self) -> float:
        """Of the tissue between the bone ends, MPa; 0 where the gap is empty."""
        return float(self.tissue[""][1][3, 3]) if "" in self.tissue else 0.0

    def _fields(self, shares: Array, schemes: tuple[Scheme, ...]) -> Iterator[Measure]:
        for region, (strain, elasticity) in self.tissue.items():
            yield from tissue(region, strain, elasticity, schemes, shares)
        for implant in self.implants:
            yield from implant_stress(implant, shares)
        for sleeve in self.sleeves:
            yield from sleeve_strain(sleeve, shares)

    def moved(self, load: Array, shares: Array, *, is_linear: bool = True) -> Iterator[Measure]:
        """Stiffness and movement under a load, as `under` takes it."""
        motions = self.motions
        distal, proximal = (motions[f"{end}_section"] for end in ENDS)
        yield from section_stiffness(distal, proximal, load, shares)
        if is_linear:
            work = float(shares @ self.energy @ shares)
            energetic = by_energy(load, self.length, work)
            yield from [] if energetic is None else [energetic]
        if self.geometry.gap is not None:
            below, above = (motions[f"gap_{end}_face"] for end in ENDS)
            yield from gap_movement(self.geometry.gap, below, above, shares)
            yield from rim_movement(self.geometry.gap, below, above, shares)
        moved = motions["proximal_end"].translation @ shares
        yield Measure("proximal_movement", "proximal_end", float(np.linalg.norm(moved)))

    def _forces(self, load: Array, sizes: tuple[float, float]) -> Iterator[Measure]:
        for place, section in self.sections.items():
            yield from section_forces(section, place, load)
            yield from load_shares(section, place, load, sizes)
        for beam in self.geometry.beams:
            if GAP in self.sections:
                yield from beam_stress(beam, self.sections[GAP], load)
        for pin, plane, wrench in self.pins:
            yield from pin_forces(pin, plane, wrench, load)
        for fragment, body in self.bodies.items():
            yield from fragment_forces(body, fragment, load)


def levels(geometry: Geometry) -> dict[str, tuple[Face, Vector]]:
    """The reported cuts, along the gap (half-way up a specimen) and across the shaft at every pin.

    Each is a plane and the point of the shaft axis in it.
    """
    gap, bow = geometry.gap, geometry.bow

    def across(point: Vector) -> tuple[Face, Vector]:
        if bow is None:
            on_axis = (0.0, 0.0, point[2])
            return Face(point[2]), on_axis
        height = float(bow.straighten(point)[2])
        x, y, z = bow.place((0.0, 0.0, height)).tolist()
        return Face.through((x, y, z), bow.turn((0.0, 0.0, 1.0), height)), (x, y, z)

    if gap is None:
        middle = {"middle": across((0.0, 0.0, geometry.length / 2))}
    else:
        middle = {GAP: (gap.plane, gap.centre)}
    return middle | {pin.name: across(pin.foot) for pin in geometry.pins}


def tissue_fields(
    mesh: Mesh, elasticity: Array, u: Array
) -> dict[str, tuple[Field | FactoredField, Array]]:
    """Strains of the tissue and its stress over strain by region, where it has any."""
    return {
        "" if part.role == "gap" else f"{part.role}/": (
            strain_field(mesh, np.flatnonzero(mesh.part_of == k), u),
            elasticity[k],
        )
        for k, part in enumerate(mesh.parts)
        if part.material == "tissue" and elasticity[k].any()
    }


def nail_in_canal(mesh: Mesh, geometry: Geometry, u: Array) -> tuple[Array, float] | None:
    """Movement of a nail across its canal and the clearance, mm, if nothing keeps it off the wall."""
    can_touch = any(stop.touch.startswith("canal") for stop in geometry.stops)
    if geometry.void is None or can_touch or "canal" in (part.role for part in mesh.parts):
        return None
    return clearance_use(mesh, u), geometry.void[2]
