"""Loads of one force, turned from their own direction."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.bone import Femur
from geometries.errors import StudyError
from pipeline.fem.space import Array
from pipeline.loading.loads import Forces, Load, PointForce
from pipeline.run.superposition import push_of
from pipeline.study.config import StudyConfig
from pipeline.study.robustness import Cone

SIDES = 8  # of a cone, at which stops are looked for
LARGEST_N = 10_000.0  # of a part of a force


def tilted(force: Array, angle: float, azimuth: float) -> Array:
    """A force (3,) turned from its own direction by an angle, towards an azimuth round it, radians.

    Azimuth 0 is lateral, a quarter turn is anterior for a force that points down.
    """
    size = np.linalg.norm(force)
    own = force / size
    lateral = own[0] * own - np.array([1.0, 0.0, 0.0])
    lateral /= np.linalg.norm(lateral)
    aside = np.cos(azimuth) * lateral + np.sin(azimuth) * np.cross(own, lateral)
    return np.asarray(size * (np.cos(angle) * own + np.sin(angle) * aside))


def turned(load: Load, femur: Femur, force: Array) -> Forces | None:
    """A load with its one force (3,), N, in place of its own; None if it has not one."""
    push = push_of(load, femur, femur.top_mm)
    if push is None:
        return None
    x, y, z = push.point.tolist()
    medial, anterior, proximal = force.tolist()
    one = PointForce(name="one", at=(x, y, z), force_n=(medial, anterior, proximal))
    return Forces(name=load.name, kind="forces", forces=(one,), support=load.support)


def cone_of(study: StudyConfig) -> Iterator[Load]:
    """The question's load along the edge of the cone that robustness has, if it has one.

    Raises
    ------
    StudyError
        If it has one, and the load is not one force at one point.
    """
    cones = (
        [one for one in study.robustness.inputs if isinstance(one, Cone)] if study.robustness else []
    )
    load = next(one for one in study.loads if one.name == study.asked.load)
    push = push_of(load, study.femur, study.femur.top_mm)
    for cone in cones:
        if push is None:
            raise StudyError(
                f"robustness.inputs: load_direction with load {load.name!r}, which is not one force at "
                "one point; allowed is one: name another in question.load, or leave the input out"
            )
        for azimuth in np.arange(SIDES) * 2 * np.pi / SIDES:
            force = tilted(push.force, np.radians(cone.half_angle_deg), float(azimuth))
            found = turned(load, study.femur, force)
            if found is not None:
                name = f"{load.name} to {np.degrees(azimuth):.0f}"
                yield found.model_copy(update={"name": name})
