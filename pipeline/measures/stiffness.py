"""Stiffness between the two reference sections."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

import numpy as np

from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.motion import Motion

SMALL = 1e-9


def section_stiffness(distal: Motion, proximal: Motion, load: Array) -> Iterator[Measure]:
    """Stiffness under a load: axial for a force along the shaft, else torsional or bending.

    Parameters
    ----------
    distal, proximal : Motion
        Motions of the two reference sections under the unit loads.
    load : Array
        Resultant (6,) at the proximal end: force, N, and moment, N·mm. A transverse force has no
        stiffness between sections and yields none.
    """
    force, moment = load[:3], load[3:]
    twist = (proximal.rotation - distal.rotation) @ load
    if abs(force[2]) > SMALL:
        on_axis = [np.array([0.0, 0.0, motion.about[2]]) for motion in (distal, proximal)]
        stretch = (proximal.at(on_axis[1]) - distal.at(on_axis[0]))[2] @ load
        yield Measure("axial_stiffness", "sections", float(force[2] / stretch))
        return
    if np.abs(force).max() > SMALL:
        return
    if abs(moment[2]) > SMALL:
        per_degree = moment[2] / degrees(twist[2]) / 1000
        yield Measure("torsional_stiffness", "sections", float(per_degree))
    bending = moment[:2]
    if np.abs(bending).max() > SMALL:
        length = proximal.about[2] - distal.about[2]
        angle = twist[:2] @ bending / np.linalg.norm(bending)
        EI = np.linalg.norm(bending) * length / angle
        yield Measure("bending_stiffness", "sections", float(EI * 1e-6))
