"""Movement of the bone ends and strain of the tissue between them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.readout import GapFrame
from pipeline.fem.space import Array
from pipeline.measures.bands import strain_bands
from pipeline.measures.dictionary import Measure, Scheme
from pipeline.measures.factored import FactoredField
from pipeline.measures.field import Field, octahedral, percentiles, principal
from pipeline.measures.motion import Motion, apart

SHARES = (5, 50, 95, 99)  # percent of the tissue's volume, whose strain is told
EVEN = 0.01  # of the largest; where all sides move alike, none moves most


def gap_movement(frame: GapFrame, distal: Motion, proximal: Motion, load: Array) -> Iterator[Measure]:
    """Axial and shear movement near, far and in the centre, and the strain of the gap.

    Parameters
    ----------
    frame : GapFrame
        Where to read.
    distal, proximal : Motion
        Motions of the two bone ends under the unit loads.
    load : Array
        Shares of the unit loads (6,).
    """
    normal, lengths = np.asarray(frame.normal), frame.lengths()
    points = frame.points()
    every = apart(distal, proximal, np.array(list(points.values())), load)
    for location, moved in zip(points, every, strict=True):
        yield Measure("gap_movement", location, float(np.linalg.norm(moved)))
        yield Measure("gap_axial_movement", location, float(moved[2]))
        yield Measure("gap_shear_movement", location, float(np.hypot(*moved[:2])))
        opened = float(moved @ normal)
        yield Measure("gap_normal_movement", location, opened)
        slid = float(np.linalg.norm(moved - opened * normal))
        yield Measure("gap_sliding_movement", location, slid)
        yield Measure("interfragmentary_strain", location, 100 * opened / lengths[location])
    turned = np.degrees((proximal.rotation - distal.rotation) @ load)
    for axis, angle in zip(("medial_axis", "anterior_axis", "shaft"), turned, strict=True):
        yield Measure("gap_rotation", axis, float(angle))
    for location, motion in (("distal", distal), ("proximal", proximal)):
        squared = max(float(load @ motion.misfit @ load), 0.0)
        yield Measure("gap_face_misfit", location, squared**0.5)


def rim_movement(frame: GapFrame, distal: Motion, proximal: Motion, load: Array) -> Iterator[Measure]:
    """Largest closing, opening and sliding round the whole gap, where, and as a share of its length.

    Parameters
    ----------
    frame : GapFrame
        Where to read.
    distal, proximal : Motion
        Motions of the two bone ends.
    load : Array
        Shares of the columns.
    """
    rim, normal = frame.rim, np.asarray(frame.normal)
    moved = apart(distal, proximal, rim.places, load)
    opened = moved @ normal
    slid = np.linalg.norm(moved - opened[:, None] * normal, axis=1)
    for way, size in (("closing", -opened), ("opening", opened), ("sliding", slid)):
        most = int(size.argmax())
        largest = max(float(size[most]), 0.0)
        yield Measure("rim_movement", way, largest)
        yield Measure("rim_strain", way, 100 * max(float((size / rim.lengths).max()), 0.0))
        if np.ptp(size) > EVEN * largest > 0:
            yield Measure("rim_side", way, float(rim.azimuths[most]))


def tissue(
    region: str,
    strain: Field | FactoredField,
    elasticity: Array,
    schemes: tuple[Scheme, ...],
    load: Array,
) -> Iterator[Measure]:
    """Percentiles by volume of strain and pressure in the tissue, and its shares in strain bands.

    Parameters
    ----------
    region : str
        Opens the locations; empty for the gap proper.
    strain : Field or FactoredField
        Strains of the unit loads.
    elasticity : Array
        Stress over strain of the tissue (6, 6), MPa.
    schemes : tuple of str
        Strain-band schemes.
    load : Array
        Shares of the unit loads.
    """
    values = strain.under(load)
    e = principal(values)
    pressure = -(values @ elasticity[:3].sum(axis=0)) / 3
    fields = {
        "tissue_strain_major": 100 * e[:, 2],
        "tissue_strain_minor": 100 * e[:, 0],
        "tissue_strain_volumetric": 100 * e.sum(axis=1),
        "tissue_strain_octahedral": 100 * octahedral(e),
        "tissue_pressure": pressure,
    }
    for quantity, field in fields.items():
        levels = percentiles(field, strain.weights, [share / 100 for share in SHARES])
        for share, level in zip(SHARES, levels, strict=True):
            yield Measure(quantity, f"{region}p{share}", level)
    for scheme in schemes:
        for one in strain_bands(scheme, e, pressure, strain.weights):
            yield Measure(one.quantity, region + one.location, one.value)
    yield Measure("tissue_volume", region.rstrip("/") or "gap", float(strain.weights.sum()))
