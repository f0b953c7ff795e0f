"""Movement of the bone ends and strain of the tissue between them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.solids import GapFrame
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.field import Field, octahedral, percentile, principal
from pipeline.measures.motion import Motion


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
    for location, point in frame.points().items():
        place = np.asarray(point)
        x, y, z = (proximal.at(place) - distal.at(place)) @ load
        yield Measure("gap_axial_movement", location, float(z))
        yield Measure("gap_shear_movement", location, float(np.hypot(x, y)))
        yield Measure("interfragmentary_strain", location, float(100 * z / frame.length))
    for location, motion in (("distal", distal), ("proximal", proximal)):
        squared = max(float(load @ motion.misfit @ load), 0.0)
        yield Measure("gap_face_misfit", location, squared**0.5)


def tissue_strain(field: Field, load: Array) -> Iterator[Measure]:
    """Percentiles by volume of principal and octahedral shear strain, percent."""
    e = principal(field.values @ load)
    values = {
        "tissue_strain_major": e[:, 2],
        "tissue_strain_minor": e[:, 0],
        "tissue_strain_octahedral": octahedral(e),
    }
    for quantity, strain in values.items():
        for share in (5, 50, 95):
            level = percentile(strain, field.weights, share / 100)
            yield Measure(quantity, f"p{share}", 100 * level)
