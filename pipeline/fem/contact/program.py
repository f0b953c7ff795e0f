"""The second-order cone program of some stops, set up once for all loads.

References
----------
Goulart & Chen 2024, arXiv:2405.12762, for the interior-point method of clarabel, which cites it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import clarabel
import numpy as np
import scipy.sparse as sp

from pipeline.fem.space import Array, Flags, Ints

SPRING = 1e-6  # of a floating body, as a share of the stops' own stiffness
TOLERANCE = 1e-10


@dataclass(frozen=True)
class Program:
    """What does not depend on the load; numbers without units.

    Parameters
    ----------
    quadratic, rows : sparse array
        Upper triangle of the quadratic form, and the rows of all conditions.
    cones : list
        Kinds of the conditions, in the rows' order.
    first : Ints
        First component of each one-sided stop.
    one_sided, balls : Ints
        Numbers of one-sided stops, and of discs with room.
    """

    quadratic: sp.csc_array
    rows: sp.csc_array
    cones: list[Any]
    first: Ints
    one_sided: Ints
    balls: Ints

    @classmethod
    def of(cls, starts: Ints, is_one_sided: Flags, has_room: Flags, C: Array, B: Array) -> Program:
        """Set up for stops with compliance C and movements B per rigid motion (components, modes)."""
        count, modes = B.shape
        one_sided, balls = np.flatnonzero(is_one_sided), np.flatnonzero(~is_one_sided & has_room)
        P = sp.block_diag([C, np.zeros((len(balls),) * 2), np.eye(modes)], format="csc")
        pick = sp.eye_array(count + len(balls) + modes, format="csr")
        tie = SPRING**0.5 * sp.eye_array(modes)
        rows: list[Any] = [sp.hstack([sp.csr_array(B.T), sp.csr_array((modes, len(balls))), -tie])]
        cones: list[Any] = [clarabel.ZeroConeT(modes)]
        for k in one_sided:
            rows.append(-pick[[starts[k]]])
            cones.append(clarabel.NonnegativeConeT(1))
        for number, ball in enumerate(balls):
            own = np.arange(starts[ball], starts[ball + 1])
            rows.append(-pick[[count + number, *own]])
            cones.append(clarabel.SecondOrderConeT(1 + len(own)))
        return cls(
            sp.csc_array(sp.triu(P)), sp.csc_array(sp.vstack(rows)), cones,
            starts[one_sided], one_sided, balls,
        )  # fmt: skip

    def forces(self, free: Array, room: Array, loads: Array, motion: Array) -> Array:
        """Forces (components,) under a load, bodies hanging on springs that end at a rigid motion.

        Parameters
        ----------
        free : Array
            Movement of the stops without their forces (components,).
        room : Array
            Clearance (stops,).
        loads, motion : Array
            Work of the load in the rigid motions, and where the springs end (modes,).
        """
        q = np.concatenate([free, room[self.balls], SPRING**0.5 * motion])
        q[self.first] += room[self.one_sided]
        wanted = np.zeros(self.rows.shape[0])
        wanted[: len(loads)] = -loads
        settings = clarabel.DefaultSettings()
        settings.verbose = False
        settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = TOLERANCE
        found = clarabel.DefaultSolver(self.quadratic, q, self.rows, wanted, self.cones, settings)
        return np.array(found.solve().x[: len(free)])
