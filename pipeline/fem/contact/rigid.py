"""Which stops rigid bodies run into: where to begin with bodies that only stops hold."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from pipeline.fem.space import Array, Flags

LEAST_COST = 1e-3  # of a force without clearance, beside the dearest


def lightest(rigid: Array, clearance: Array, is_one_sided: Flags, loads: Array) -> Array:
    """Forces that hold rigid bodies against loads and cost the least, each its clearance.

    They belong to the stops that rigid bodies run into: the dual of the motion in which the loads work
    most while no clearance is used up. Components of a disc count one by one.

    Parameters
    ----------
    rigid : Array
        Movements per rigid motion (components, modes).
    clearance, is_one_sided : Array
        Of the stop of each component (components,).
    loads : Array
        Work of the load in the rigid motions (modes,).

    Returns
    -------
    Array
        (components,), N; zeros if no forces hold the loads.
    """
    ways = np.concatenate([rigid, -rigid[~is_one_sided]])
    cost = np.concatenate([clearance, clearance[~is_one_sided]])
    size = float(np.abs(loads).max(initial=0.0)) or 1.0
    cost = cost + LEAST_COST * cost.max(initial=1.0)
    found = linprog(cost, A_eq=ways.T, b_eq=-loads / size, method="highs")
    forces = np.zeros(len(clearance))
    if found.x is not None:
        forces += found.x[: len(clearance)]
        forces[~is_one_sided] -= found.x[len(clearance) :]
    return forces * size
