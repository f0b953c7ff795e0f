"""How stops that bear answer a little of another load: the small problem, linear beside a state."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pipeline.fem.contact.cones import Cones
from pipeline.fem.space import Array

LOOSE = 1e-12  # share of the stiffest, below which a motion is taken for one that nothing holds
HOLDS = 1e-6  # of the largest movement per motion, from which a stop holds it
SLIPPERY = 1e6  # of a stop's own compliance: gives way across its force as if it bore nothing


def answered(cones: Cones, forces: Array, free: Array, works: Array) -> Array:
    """Forces and rigid motions that other loads add beside a state, while the same stops bear.

    A stop with clearance whose contact point turns about its axis gives way across its force, by the
    clearance over the force.

    Parameters
    ----------
    cones : Cones
        Conditions of the stops.
    forces : Array
        Their forces in the state (components,), N.
    free : Array
        Movements under the other loads, without forces of stops (components, k), mm.
    works : Array
        Work of the other loads in the rigid motions (modes, k).

    Returns
    -------
    Array
        Forces (components, k), N, above rigid motions (modes, k), mm. A motion that no bearing stop
        holds stays nil.
    """
    count, modes = len(forces), len(works)
    if not count:
        return np.zeros((modes, free.shape[1]))
    scale, stiff = cones.scale, cones.C.copy()
    bears, sized = np.zeros(count, dtype=bool), forces / scale
    for k, (a, b) in enumerate(pairwise(cones.starts)):
        force, is_one_sided = sized[a:b], cones.is_one_sided[k]
        size, room = float(np.linalg.norm(force)), float(cones.clearance[k] * scale[a])
        bears[a:b] = size > 0 or (room == 0 and not is_one_sided)
        if size > 0 and room > 0 and not is_one_sided:
            out = force / size
            stiff[a:b, a:b] += min(room / size, SLIPPERY) * (np.eye(b - a) - np.outer(out, out))
    own = np.flatnonzero(bears)
    B = cones.B[own]
    K = np.block([[stiff[np.ix_(own, own)], B], [B.T, np.zeros((modes, modes))]])
    wanted = -np.concatenate([(scale[:, None] * free)[own], works / cones.widest])
    answer, *_ = np.linalg.lstsq(K, wanted, rcond=LOOSE)
    found = np.zeros((count + modes, free.shape[1]))
    found[own] = scale[own, None] * answer[: len(own)]
    found[count:] = answer[len(own) :] / cones.widest
    return found


def held(cones: Cones, forces: Array) -> bool:
    """Whether stops that bear with forces (components,), N, hold every motion of floating bodies."""
    rows: list[Array] = [np.zeros((0, cones.rigid.shape[1]))]
    for k, (a, b) in enumerate(pairwise(cones.starts)):
        if cones.clearance[k] == 0 and not cones.is_one_sided[k]:
            rows.append(cones.B[a:b])
        elif forces[a:b].any():
            rows.append(forces[None, a:b] / np.linalg.norm(forces[a:b]) @ cones.B[a:b])
    return int(np.linalg.matrix_rank(np.concatenate(rows), tol=HOLDS)) == cones.rigid.shape[1]
