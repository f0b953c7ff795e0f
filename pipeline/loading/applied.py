"""Loads of a study file as stated forces and moments at points of the femur."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import singledispatch
from math import cos, radians, sin, tan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometries.bone import Femur
from geometries.profiles import outer_profile
from pipeline.loading.activities import PEAKS
from pipeline.loading.loads import (
    Bending,
    EndForce,
    Forces,
    HipForce,
    Load,
    Stairs,
    Stance,
    Torsion,
    Walking,
)

Array = NDArray[np.floating[Any]]

VASTUS_LATERALIS, VASTUS_MEDIALIS = 0.80, 0.75  # share of the femur's length, from memory


@dataclass(frozen=True, eq=False)
class Action:
    """A force and a moment at a point.

    Parameters
    ----------
    name : str
        Which of the load's actions it is.
    point : Array
        Where it acts (3,), mm.
    force : Array
        Medial, anterior and proximal part (3,), N.
    moment : Array
        About the same axes (3,), N·mm.
    """

    name: str
    point: Array
    force: Array
    moment: Array = field(default_factory=lambda: np.zeros(3))


def points(femur: Femur) -> dict[str, Array]:
    """Named points of the femur, mm.

    They are placed on this model's own anatomy: the coordinates that the published muscle forces
    belong to are not known here. The muscle origins lie on the outer surface.
    """
    length, surface = femur.length_mm, outer_profile(femur)
    head = length - femur.head_below_top_mm
    lateralis, medialis = VASTUS_LATERALIS * length, VASTUS_MEDIALIS * length
    places = {
        "head": (femur.head_offset_mm, 0.0, head),
        "trochanter": (-femur.proximal_diameter_mm / 2, 0.0, head),
        "vastus_lateralis": (-surface.at(lateralis), 0.0, lateralis),
        "vastus_medialis": (surface.at(medialis), 0.0, medialis),
        "proximal_end": (0.0, 0.0, length),
    }
    bow = femur.bow
    return {
        name: np.array(place) if bow is None else bow.place(place) for name, place in places.items()
    }


def head_level(femur: Femur) -> float:
    """Height of the head centre, mm: from here upwards the femur counts as a rigid top."""
    return float(points(femur)["head"][2])


@singledispatch
def applied(load: Load, femur: Femur, length: float) -> tuple[Action, ...]:  # noqa: ARG001
    """Forces and moments of a load, without any reaction; see `statics.actions`."""
    raise TypeError(f"no actions for {type(load).__name__}")


@applied.register
def _(load: HipForce, femur: Femur, length: float) -> tuple[Action, ...]:  # noqa: ARG001
    direction = np.array([-tan(radians(load.adduction_deg)), -tan(radians(load.flexion_deg)), -1.0])
    force = load.force_n * direction / np.linalg.norm(direction)
    return (Action("hip_contact", points(femur)["head"], force),)


@applied.register
def _(load: Stance, femur: Femur, length: float) -> tuple[Action, ...]:  # noqa: ARG001
    angle = radians(load.adduction_deg)
    force = load.times_body_weight * load.weight_n * np.array([-sin(angle), 0.0, -cos(angle)])
    return (Action("hip_contact", points(femur)["head"], force),)


@applied.register
def _(load: Torsion | Bending, femur: Femur, length: float) -> tuple[Action, ...]:  # noqa: ARG001
    axes = {"torsion": (0.0, 0.0, 1.0), "frontal": (0.0, 1.0, 0.0), "sagittal": (-1.0, 0.0, 0.0)}
    axis = axes[load.plane if isinstance(load, Bending) else load.kind]
    moment = 1000 * load.moment_nm * np.array(axis)
    return (Action("moment", np.array([0.0, 0.0, length]), np.zeros(3), moment),)


@applied.register
def _(load: EndForce, femur: Femur, length: float) -> tuple[Action, ...]:  # noqa: ARG001
    force = np.array([load.medial_n, load.anterior_n, load.proximal_n])
    return (Action("end_force", np.array([0.0, 0.0, length]), force),)


@applied.register
def _(load: Walking | Stairs, femur: Femur, length: float) -> tuple[Action, ...]:  # noqa: ARG001
    places, peak = points(femur), PEAKS[load.kind]
    pulls = [peak.contact, *(pull for name in load.muscles for pull in peak.muscles[name])]
    return tuple(
        Action(pull.name, places[pull.point], load.weight_n / 100 * np.array(pull.percent))
        for pull in pulls
    )


@applied.register
def _(load: Forces, femur: Femur, length: float) -> tuple[Action, ...]:
    places = points(femur) | {"proximal_end": np.array([0.0, 0.0, length])}
    return tuple(
        Action(
            one.name,
            places[one.at] if isinstance(one.at, str) else np.array(one.at),
            np.array(one.force_n),
        )
        for one in load.forces
    )
