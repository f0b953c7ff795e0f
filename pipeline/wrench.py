"""Loads of a study as resultants at the middle of the proximal end."""

from __future__ import annotations

from functools import singledispatch
from math import radians, tan

import numpy as np

from geometries.parameters import Femur
from pipeline.fem.space import Array
from pipeline.inputs import Bending, EndForce, HipForce, Load, Torsion


@singledispatch
def wrench(load: Load, femur: Femur, length: float) -> Array:  # noqa: ARG001
    """Resultant of a load at the middle of the proximal end: force, N, and moment, N·mm (6,)."""
    raise TypeError(f"no wrench for {type(load).__name__}")


@wrench.register
def _(load: HipForce, femur: Femur, length: float) -> Array:
    direction = np.array([-tan(radians(load.adduction_deg)), -tan(radians(load.flexion_deg)), -1.0])
    force = load.force_n * direction / np.linalg.norm(direction)
    arm = np.array([femur.head_offset_mm, 0.0, femur.length_mm - femur.head_below_top_mm - length])
    return np.concatenate([force, np.cross(arm, force)])


@wrench.register
def _(load: Torsion, femur: Femur, length: float) -> Array:  # noqa: ARG001
    return np.array([0.0, 0.0, 0.0, 0.0, 0.0, 1000 * load.moment_nm])


@wrench.register
def _(load: Bending, femur: Femur, length: float) -> Array:  # noqa: ARG001
    moment = 1000 * load.moment_nm
    across = (0.0, moment) if load.plane == "frontal" else (-moment, 0.0)
    return np.array([0.0, 0.0, 0.0, *across, 0.0])


@wrench.register
def _(load: EndForce, femur: Femur, length: float) -> Array:  # noqa: ARG001
    return np.array([load.medial_n, load.anterior_n, load.proximal_n, 0.0, 0.0, 0.0])
