"""Stiffness between the two reference sections."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees, radians

import numpy as np

from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.motion import Motion

SMALL = 1e-9


def section_stiffness(
    distal: Motion, proximal: Motion, energy: Array, load: Array
) -> Iterator[Measure]:
    """Stiffness under a load: axial for a force along the shaft, else torsional or bending.

    Parameters
    ----------
    distal, proximal : Motion
        Motions of the two reference sections under the unit loads.
    energy : Array
        Twice the mutual strain energies between the sections (loads, loads), N·mm.
    load : Array
        Shares of the unit loads at the proximal end: force, N, and moment, N·mm. A transverse force,
        or a force below the end (a muscle), has no stiffness between sections and yields none.
    """
    force, moment = load[:3], load[3:6]
    twist = (proximal.rotation - distal.rotation) @ load
    work = float(load @ energy @ load)
    if np.abs(load[6:]).sum() > SMALL:
        return
    if abs(force[2]) > SMALL:
        stretch = (proximal.translation - distal.translation)[2] @ load
        yield Measure("axial_stiffness", "sections", float(force[2] / stretch))
        if np.abs(np.delete(load, 2)).max() < SMALL:
            yield Measure("axial_stiffness_by_energy", "sections", float(force[2] ** 2 / work))
        return
    if np.abs(force).max() > SMALL:
        return
    bending = moment[:2]
    pure_torque = np.abs(bending).max() <= SMALL
    if abs(moment[2]) > SMALL:
        per_degree = moment[2] / degrees(twist[2]) / 1000
        yield Measure("torsional_stiffness", "sections", float(per_degree))
        if pure_torque:
            by_energy = radians(moment[2] ** 2 / work) / 1000
            yield Measure("torsional_stiffness_by_energy", "sections", float(by_energy))
    if not pure_torque:
        length, size = proximal.about[2] - distal.about[2], np.linalg.norm(bending)
        angle = twist[:2] @ bending / size
        yield Measure("bending_stiffness", "sections", float(size * length / angle * 1e-6))
        if abs(moment[2]) <= SMALL:
            by_energy = size**2 * length / work * 1e-6
            yield Measure("bending_stiffness_by_energy", "sections", float(by_energy))
