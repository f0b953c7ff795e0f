"""Statics of the loads: reactions, resultants, section loads, and shares of the unit loads.

Every load is a sum of stated vectors. The femur's top - head, neck and trochanter - is not modelled:
what acts at or above the level of the head centre goes through it, as a rigid body, into the
proximal end face. What acts lower down is spread over the bone's surface at its point.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import hypot, inf

import numpy as np

from geometries.bone import Femur
from geometries.errors import StudyError
from geometries.frame import cross
from geometries.profiles import outer_profile
from pipeline.loading.applied import Action as Action
from pipeline.loading.applied import Array, applied, head_level
from pipeline.loading.applied import points as points
from pipeline.loading.loads import Load

REACH_MM = 80.0  # from the shaft axis; the head of no femur in range is farther off than 61 mm
OFF_SURFACE_MM = 3.0
SAME_MM = 1e-6
PATCH_MM = 12.0  # how far a surface load spreads from its point


def actions(load: Load, femur: Femur, length: float) -> tuple[Action, ...]:
    """All forces and moments of a load, with the reaction of the hip where the load asks for it.

    Parameters
    ----------
    load : Load
        The load.
    femur : Femur
        Where its points are.
    length : float
        Height of the proximal end, where end forces and moments act, mm; a specimen has its own.

    Returns
    -------
    tuple of Action
        In the load's own order; the reaction, named ``hip_support``, last.
    """
    stated = applied(load, femur, length)
    if load.support == "distal_end":
        return stated
    return (*stated, hip_support(stated, points(femur)["head"]))


def hip_support(stated: Iterable[Action], head: Array) -> Action:
    """Reaction at the head that leaves no bending moment about the knee centre, the origin.

    The knee is a ball joint with a stop against turning about the shaft; the head slides freely
    along the line from hip to knee, so its reaction R is perpendicular to that line. With M = h x R
    its moment, M_x and M_y balance the load's; M . h = 0 gives M_z, and R = M x h / |h|².
    """
    bending = resultant(stated, np.zeros(3))[3:5]
    moment = np.array([-bending[0], -bending[1], bending @ head[:2] / head[2]])
    return Action("hip_support", head, cross(moment, head) / (head @ head))


def resultant(acting: Iterable[Action], about: Array, above: float = -inf) -> Array:
    """Force, N, and moment, N·mm, (6,) about a point of all actions at heights over `above`."""
    total = np.zeros(6)
    for action in acting:
        if action.point[2] > above:
            total[:3] += action.force
            total[3:] += action.moment + cross(action.point - about, action.force)
    return total


def section_load(acting: Iterable[Action], z: float, axis: tuple[float, float] = (0.0, 0.0)) -> Array:
    """What the shaft carries at a height: force, N, and moment, N·mm, (6,) about its axis there.

    The axis passes through x and y; off z it is that of a bowed femur.

    It is the resultant of all that acts above: shear forces, normal force, two bending moments,
    torque. Between the level of the head and the proximal end it is not what the model carries,
    because the rigid top hands the load over at the end.
    """
    return resultant(acting, np.array([*axis, z]), above=z)


def carriers(loads: Iterable[Load], femur: Femur, length: float) -> Array:
    """Points below the rigid top where forces of any load act, each once.

    Returns
    -------
    Array
        (k, 3), mm, in the order of the loads; (0, 3) if everything goes through the top.
    """
    top = min(length, head_level(femur)) - SAME_MM
    found: list[Array] = []
    for load in loads:
        for action in actions(load, femur, length):
            if action.point[2] < top and _index(action.point, found) is None:
                found.append(action.point)
    return np.array(found).reshape(-1, 3)


def coefficients(acting: Iterable[Action], carried: Array, length: float) -> Array:
    """Shares of the unit loads whose sum is the load.

    Parameters
    ----------
    acting : iterable of Action
        A load's actions.
    carried : Array
        Points (k, 3) from `carriers` of a study that has this load, mm.
    length : float
        Height of the proximal end, mm.

    Returns
    -------
    Array
        (6 + 3 k,): resultant at the middle of the proximal end of all that acts through the top, N
        and N·mm; then the force at each carrier, N.

    Raises
    ------
    ValueError
        If an action at a carrier has a moment: the surface there takes forces only.
    """
    through_top = []
    forces = np.zeros((len(carried), 3))
    for action in acting:
        index = _index(action.point, carried)
        if index is None:
            through_top.append(action)
        elif action.moment.any():
            raise ValueError(f"{action.name}: a moment on the surface; allowed forces; report this")
        else:
            forces[index] += action.force
    end = resultant(through_top, np.array([0.0, 0.0, length]))
    return np.concatenate([end, forces.ravel()])


def check_points(load: Load, femur: Femur) -> None:
    """Raise a StudyError if a force of the load acts neither on the bone nor through its top."""
    for action in actions(load, femur, femur.top_mm):
        x, y, z = (float(part) for part in action.point)
        straight = action.point if femur.bow is None else femur.bow.straighten(action.point)
        from_axis = hypot(straight[0], straight[1])
        if z >= head_level(femur) - SAME_MM:
            allowed, where = REACH_MM, f"at or above the head centre, {head_level(femur):g} mm"
        else:
            surface = outer_profile(femur).at(float(straight[2]))
            allowed, where = surface + OFF_SURFACE_MM, "at that height"
        if z < 0 or from_axis > allowed:
            limit = "z from 0 mm" if z < 0 else f"up to {allowed:.1f} mm {where}"
            raise StudyError(
                f"load {load.name!r}, force {action.name!r}: the point [{x:g}, {y:g}, {z:g}] mm is "
                f"outside the bone, {from_axis:.1f} mm from its axis; allowed {limit}: move it to "
                "the bone, or name a point"
            )


def check_places(
    name: str, loads: Sequence[Load], femur: Femur, gap: tuple[float, float] | None
) -> None:
    """Refuse forces on the bone's surface where a construct has no bone, or has its gap.

    Parameters
    ----------
    name : str
        The construct.
    loads, femur :
        The loads and the bone.
    gap : (float, float) or None
        Heights of the bone ends, mm; None for a specimen without bone.

    Raises
    ------
    StudyError
        Names the construct, the point and the remedy.
    """
    for point in carriers(loads, femur, femur.top_mm):
        place = f"{name}: a load acts at {point.round(1).tolist()}"
        if gap is None:
            raise StudyError(f"{place}; allowed on a specimen are loads on its end: leave it out")
        low, high = gap
        height = point[2] if femur.bow is None else femur.bow.straighten(point)[2]
        if low - PATCH_MM < height < high + PATCH_MM:
            raise StudyError(
                f"{place}, beside the gap from {low:.0f} to {high:.0f} mm; allowed is {PATCH_MM:g} mm "
                "away or more: leave out that muscle or force, or move the gap"
            )


def _index(point: Array, among: Iterable[Array]) -> int | None:
    """Which of some points is the same, if any."""
    near = (k for k, one in enumerate(among) if np.abs(one - point).max() < SAME_MM)
    return next(near, None)
