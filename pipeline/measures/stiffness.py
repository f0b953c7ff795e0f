"""Stiffness between the two reference sections."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees, radians

import numpy as np

from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.motion import Motion

NOTHING = 1e-9  # of the largest part of a load
MOMENTS = frozenset((3, 4, 5))  # of the unit loads: after three forces, before those below the end


def section_stiffness(
    distal: Motion, proximal: Motion, load: Array, shares: Array
) -> Iterator[Measure]:
    """Stiffness under a pure load: axial, torsional or bending.

    A force beside the shaft axis bends it too, and what comes nearer then is no axial stiffness.

    Parameters
    ----------
    distal, proximal : Motion
        Motions of the two reference sections in the columns.
    load : Array
        Shares of the unit loads at the proximal end: force, N, and moment, N·mm. A transverse or
        eccentric force, or one below the end (a muscle), has no stiffness between sections and yields
        none.
    shares : Array
        Shares of the columns.
    """
    force, moment = load[:3], load[3:6]
    acting = acting_units(load)
    if acting == [2]:
        stretch = (proximal.translation - distal.translation)[2] @ shares
        yield Measure("axial_stiffness", "sections", float(force[2] / stretch))
        return
    if not is_pure_moment(load):
        return
    twist, bending = (proximal.rotation - distal.rotation) @ shares, moment[:2]
    if 5 in acting:
        per_degree = moment[2] / degrees(twist[2]) / 1000
        yield Measure("torsional_stiffness", "sections", float(per_degree))
    if {3, 4} & set(acting):
        length, size = proximal.about[2] - distal.about[2], np.linalg.norm(bending)
        angle = twist[:2] @ bending / size
        yield Measure("bending_stiffness", "sections", float(size * length / angle * 1e-6))


def by_energy(load: Array, length: float, work: float) -> Measure | None:
    """Stiffness from the work that a pure load does, 2U where all is linear; None for other loads.

    Parameters
    ----------
    load : Array
        Shares of the unit loads, N and N·mm.
    length : float
        Between the reference sections, mm.
    work : float
        N·mm.
    """
    acting = acting_units(load)
    if acting == [2]:
        return Measure("axial_stiffness_by_energy", "sections", float(load[2] ** 2 / work))
    if acting == [5]:
        value = radians(load[5] ** 2 / work) / 1000
        return Measure("torsional_stiffness_by_energy", "sections", float(value))
    if acting and set(acting) <= {3, 4}:
        value = float(load[3:5] @ load[3:5]) * length / work * 1e-6
        return Measure("bending_stiffness_by_energy", "sections", value)
    return None


def is_pure_moment(load: Array) -> bool:
    """Whether shares of the unit loads are those of a moment at the proximal end alone."""
    acting = acting_units(load)
    return bool(acting) and MOMENTS.issuperset(acting)


def acting_units(load: Array) -> list[int]:
    """Numbers of the unit loads that a load has a share of."""
    return np.flatnonzero(np.abs(load) > NOTHING * np.abs(load).max()).tolist()
