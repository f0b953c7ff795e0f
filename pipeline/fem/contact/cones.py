"""The small problem: which stops bear under a load, and with what force.

Movements of the stops are d = D + C f + B q with their forces f, compliance C, free movement D under
the load, and the rigid motions q of floating bodies. Each keeps |d + rest| <= clearance, or d >=
-clearance, pushes against what it stops, and does nothing where it is clear; the forces balance the
loads on each floating body, Bᵀ f + r = 0. This minimises

    1/2 fᵀ C f + fᵀ (D + rest) + sum of clearance |f|

over the forces, whose multipliers of the balance are q. It is a second-order cone program. A motion
that nothing drives and no stop bears on stays as small as it can: each floating body hangs on springs
so soft that they only choose among states of equal energy, and which are moved after the body until
they carry nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import nnls

from pipeline.errors import SolveError
from pipeline.fem.kernels.cones import bearing_forces
from pipeline.fem.kernels.newton import balanced
from pipeline.fem.space import Array, Flags, Ints

ROUNDS = 8
NEARLY = 1e-8  # out of balance or overrun, of an answer that could not be made better
NOTHING = 1e-8  # share of the loads that may be left where all of them are held
BEARS = 1e-7  # force with which an overrun stop is taken up, from which Newton's method goes on
SPRING = 1e-8  # of a floating body, as a share of the stops' own stiffness
SWAPS = 20
SHARES = (1.0, 0.1, 10.0, 0.01, 100.0, 1e-3)  # of clearance left from which a stop is taken to bear
FARTHEST_MM = 50.0  # of any node of a floating body: what is no small movement is no answer
ROUND_OFF, ALLOWED = 1e-12, 1e-9


class NotHeldError(Exception):
    """A load that no stop holds, or none within `beyond` mm; `motion` (modes,) is what goes on."""

    def __init__(self, motion: Array, beyond: float = 0.0) -> None:
        super().__init__("not held")
        self.motion, self.beyond = motion, beyond


@dataclass(frozen=True)
class Cones:
    """Conditions of some stops.

    Parameters
    ----------
    starts : Ints
        First component of each stop (stops + 1,).
    clearance : Array
        Of each (stops,), mm.
    rest : Array
        Movement at rest (components,), mm.
    is_one_sided : array of bool
        Of each (stops,).
    compliance : Array
        (components, components), mm/N, symmetric.
    rigid : Array
        Movements per rigid motion of the floating bodies (components, modes).
    """

    starts: Ints
    clearance: Array
    rest: Array
    is_one_sided: Flags
    compliance: Array
    rigid: Array

    def bear(self, free: Array, loads: Array) -> tuple[Array, Array]:
        """Forces and rigid motions under a load.

        Parameters
        ----------
        free : Array
            Movement of the stops without their forces (components,), mm.
        loads : Array
            Work of the load in the rigid motions (modes,), N·mm per mm.

        Returns
        -------
        forces : Array
            (components,), N; exactly zero where a stop is clear.
        motion : Array
            (modes,), mm.

        Raises
        ------
        NotHeldError
            If no stop holds a floating body against its load before it has moved far.
        SolveError
            If no state of balance was found.
        """
        if len(self.rest):
            return _Search(self, free + self.rest, loads).run()
        if loads.any():
            raise NotHeldError(loads)
        return np.zeros(0), np.zeros(len(loads))

    @cached_property
    def scale(self) -> Array:
        """What makes each stop's own compliance one (components,)."""
        own = np.maximum.reduceat(np.diag(self.compliance), self.starts[:-1])
        return np.asarray(1 / np.sqrt(np.repeat(own, np.diff(self.starts))))

    @cached_property
    def C(self) -> Array:
        """Compliance without units."""
        return np.asarray(self.scale[:, None] * self.compliance * self.scale)

    @cached_property
    def widest(self) -> float:
        """Largest movement per rigid motion."""
        return float(np.abs(self.scale[:, None] * self.rigid).max(initial=0.0)) or 1.0

    @cached_property
    def B(self) -> Array:
        """Movements per rigid motion without units."""
        return np.asarray(self.scale[:, None] * self.rigid / self.widest)

    @cached_property
    def places(self) -> Ints:
        """Component of each entry of the cone of each stop that can be clear (stops, 1 + longest)."""
        can = np.flatnonzero(self.is_one_sided | (self.clearance > 0))
        sizes = np.diff(self.starts)
        found = np.full((len(can), 1 + int(sizes.max())), -1)
        for row, k in zip(found, can, strict=True):
            first = 0 if self.is_one_sided[k] else 1
            row[first : first + sizes[k]] = np.arange(self.starts[k], self.starts[k + 1])
        return found


class _Search:
    """One load's search, in numbers without units.

    Forces are scaled so that each stop's own compliance is one, and all by the size of the movements.
    """

    def __init__(self, cones: Cones, free: Array, loads: Array) -> None:
        sizes = np.diff(cones.starts)
        self.spans = [slice(a, b) for a, b in zip(cones.starts[:-1], cones.starts[1:], strict=True)]
        self.first, self._stop = cones.starts[:-1], np.repeat(np.arange(len(sizes)), sizes)
        self.one_sided, self.rigid = cones.is_one_sided, cones.rigid
        self.C, self.B, self.widest, self.cones = cones.C, cones.B, cones.widest, cones
        self.scale, room = cones.scale, cones.clearance * cones.scale[self.first]
        drive = max(
            float(np.abs(self.scale * free).max(initial=0.0)),
            float(np.abs(loads).max(initial=0.0)) / self.widest,
        )
        # Half-way, in powers, between what drives the stops and what they have of clearance.
        self.size = (drive * max(drive, float(room.max(initial=0.0)))) ** 0.5 or 1.0
        self.free: Array = self.scale * free / self.size
        self.room: Array = room / self.size
        self.loads: Array = loads / (self.widest * self.size)

    def run(self) -> tuple[Array, Array]:
        """Forces and rigid motions in their units."""
        motion = np.zeros(len(self.loads))
        for _ in range(ROUNDS):
            forces = self._borne(motion)
            carried = self.B.T @ forces + self.loads
            motion = motion + carried / SPRING
            found = self._polished(forces, motion)
            if found is not None:
                return self._near(*found)
        self._refuse_unheld()
        # Where a stop just closes, it neither bears nor is clear; the program's answer is good enough.
        over = -self._left(self.C @ forces + self.free + self.B @ motion).min()
        if max(float(np.abs(carried).max(initial=0.0)), over) < NEARLY * max(np.abs(forces).max(), 1.0):
            return self._near(forces, motion)
        self._near(forces, motion)
        raise SolveError("contact: no state of balance was found; report this study file")

    def _borne(self, motion: Array) -> Array:
        """Forces of the stops, nearly, while floating bodies hang on springs that end at a motion."""
        can, pushes = self.one_sided | (self.room > 0), self.first[self.one_sided]
        free = self.free.copy()
        free[pushes] += self.room[self.one_sided]
        drive = free, self.loads, motion
        forces, _ = bearing_forces((self.C, self.B), self.cones.places, self.room[can], drive, SPRING)
        return forces

    def _near(self, forces: Array, motion: Array) -> tuple[Array, Array]:
        """Forces, N, and rigid motions, mm, of numbers without units, if no body goes too far."""
        moved = motion * self.size / self.widest
        if float(np.abs(moved).max(initial=0.0)) > FARTHEST_MM:
            raise NotHeldError(moved, FARTHEST_MM)
        return forces * self.scale * self.size, moved

    def _refuse_unheld(self) -> None:
        """Raise if no forces of the stops, whatever they move, balance the loads on floating bodies.

        What is left of the loads by the forces that leave least, pushes alone, is what nothing holds.
        """
        size = float(np.abs(self.loads).max(initial=0.0))
        if size == 0:
            return
        two_sided = ~self.one_sided[self._stop]
        ways = np.concatenate([self.rigid, -self.rigid[two_sided]]).T
        wanted = -self.loads / size
        forces, _ = nnls(ways, wanted)
        left = ways @ forces - wanted
        if np.abs(left).max() > NOTHING:
            raise NotHeldError(left)

    def _polished(self, forces: Array, motion: Array) -> tuple[Array, Array] | None:
        """The same to round-off; None if the stops that bear can not be told.

        Those bear whose force is larger than what is left of their clearance, both as the program found
        them: a force that is small beside the clearances leaves much of them, so other shares are tried
        after that.
        """
        left = self._left(self.C @ forces + self.free + self.B @ motion)
        always = (self.room == 0) & ~self.one_sided
        certainty = np.where(always, np.inf, self._sizes(forces) / np.maximum(left, ROUND_OFF))
        for share in SHARES:
            found = self._swapped(forces.copy(), motion, certainty > share)
            if found is not None:
                return found
        return None

    def _swapped(self, forces: Array, motion: Array, bearing: Flags) -> tuple[Array, Array] | None:
        """Newton's answer for stops that bear; what then pulls is let go, what is overrun taken up."""
        for _ in range(SWAPS):
            found = self._balanced(forces, motion, bearing)
            if found is None:
                return None
            forces, motion, move = found
            over, pulls = self._faults(forces, move)
            if not (over | pulls).any():
                return forces, motion
            bearing = (bearing & ~pulls) | over
            for k in np.flatnonzero(over):
                span, way = self.spans[k], move[self.spans[k]]
                forces[span] = BEARS if self.one_sided[k] else -BEARS * way / np.linalg.norm(way)
        return None

    def _balanced(
        self, forces: Array, motion: Array, bearing: Flags
    ) -> tuple[Array, Array, Array] | None:
        """Forces, rigid motions and movements in balance if just these stops bear."""
        cones = self.cones
        stops = cones.starts, self.room, self.one_sided
        drive, begin = (self.free, self.loads), (forces, motion)
        *found, is_found = balanced((self.C, self.B), stops, drive, SPRING, bearing, begin)
        return (found[0], found[1], found[2]) if is_found else None

    def _faults(self, forces: Array, move: Array) -> tuple[Flags, Flags]:
        """Stops that are overrun, and stops that pull."""
        along = np.add.reduceat(forces * move, self.first)
        pulls = np.where(self.one_sided, forces[self.first] < 0, (along > 0) & (self.room > 0))
        return (self._left(move) < -ALLOWED) & ~pulls & (self._sizes(forces) == 0), pulls

    def _left(self, move: Array) -> Array:
        """What is left of each stop's clearance."""
        return self.room + np.where(self.one_sided, move[self.first], -self._sizes(move))

    def _sizes(self, values: Array) -> Array:
        """Size of each stop's vector."""
        return np.sqrt(np.add.reduceat(values**2, self.first))
