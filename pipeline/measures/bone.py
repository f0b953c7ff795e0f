"""Strain of the bone round screws and bolts, and strain energy by zone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from geometries.readout import GapFrame, Pin
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Flags, Ints, cell_rule, shape
from pipeline.measures.dictionary import Measure
from pipeline.measures.factored import FactoredField
from pipeline.measures.field import ORDER, Field, percentile, principal, strain_field

SLEEVE_MM = 1.5
LIMITS = {"0.7": 0.007, "1.0": 0.010}
ZONES_MM = ((0, 20), (20, 60), (60, 150))


@dataclass(frozen=True)
class Sleeve:
    """Strains of the bone within 1.5 mm of a pin, on one side of the shaft."""

    place: str
    strain: Field | FactoredField


def sleeves(mesh: Mesh, pin: Pin, displacement: Array) -> Iterator[Sleeve]:
    """Cortex round a pin: near the head and on the far side, where there is any."""
    out, foot = np.asarray(pin.axis), np.asarray(pin.foot)
    radius = pin.diameter / 2
    bone = mesh.cells_of("cortex")
    corners = mesh.nodes[mesh.cells[bone, :4]]
    nearest = _from_axis(corners, out, foot).min(axis=1)
    cells = bone[nearest < radius + SLEEVE_MM]
    if not len(cells):
        return
    places = _points(mesh, cells)
    strain = strain_field(mesh, cells, displacement)
    along = (places - foot) @ out
    inside = _from_axis(places, out, foot) < radius + SLEEVE_MM
    for name, side in (("near", along > 0), ("far", along < 0)):
        chosen = inside & side
        if chosen.any():
            field = Field(strain.values[chosen], strain.weights[chosen])
            yield Sleeve(f"{pin.name}/{name}", field)


def sleeve_strain(sleeve: Sleeve, load: Array) -> Iterator[Measure]:
    """Compression of the bone round a pin, and the volume beyond the yield class of cortical bone."""
    e3, weights = principal(sleeve.strain.under(load))[:, 0], sleeve.strain.weights
    yield Measure("screw_bone_strain_mean", sleeve.place, float(100 * e3 @ weights / weights.sum()))
    yield Measure("screw_bone_strain_p5", sleeve.place, 100 * percentile(e3, weights, 0.05))
    for name, limit in LIMITS.items():
        volume = float(weights[e3 < -limit].sum())
        yield Measure("screw_bone_volume_over", f"{sleeve.place}/{name}", volume)


@dataclass(frozen=True)
class Zone:
    """Mutual strain energies (loads, loads) of the cortex in a zone, N·mm, and its volume, mm³."""

    place: str
    energy: Array
    volume: float


def zones(mesh: Mesh, gap: GapFrame, displacement: Array, elasticity: Array) -> Iterator[Zone]:
    """Strain energy of the cortex by distance from the gap, at either side."""
    heights = mesh.nodes[mesh.cells[:, :4], 2].mean(axis=1)
    for index, part in enumerate(mesh.parts):
        if part.role != "cortex":
            continue
        own = mesh.part_of == index
        away = np.abs(heights - gap.height) - gap.length / 2
        sides = _sides(part.name, heights > gap.height)
        for (side, there), (low, high) in product(sides.items(), ZONES_MM):
            cells = np.flatnonzero(own & there & (away >= low) & (away < high))
            if len(cells):
                strain = strain_field(mesh, cells, displacement)
                energy = strain.mutual(elasticity[index]) / 2
                yield Zone(f"{side}/{low}-{high}mm", energy, float(strain.weights.sum()))


def _sides(part: str, above: Flags) -> dict[str, Flags]:
    """Cells on each side of the gap that a part lies on: whole bone lies on both."""
    if part == "cortex":
        return {"distal": ~above, "proximal": above}
    return {part.removeprefix("cortex_"): np.ones_like(above)}


def energy_density(zone: Zone, load: Array) -> Measure:
    """Mean strain-energy density of a zone, kPa (mJ/cm³)."""
    return Measure(
        "bone_energy_density", zone.place, float(1e3 * load @ zone.energy @ load / zone.volume)
    )


def _points(mesh: Mesh, cells: Ints) -> Array:
    """Places (points, 3) of the quadrature points of cells, mm."""
    functions = shape(cell_rule(ORDER)[0])
    return np.einsum("qn,mni->mqi", functions, mesh.nodes[mesh.cells[cells]]).reshape(-1, 3)


def _from_axis(places: Array, out: Array, foot: Array) -> Array:
    """Distance of places (..., 3) from the axis through a point, mm."""
    offset = places - foot
    return np.linalg.norm(offset - (offset @ out)[..., None] * out, axis=-1)
