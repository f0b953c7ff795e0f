"""Edge lengths of the three mesh levels, from wall thickness, curvature and facing voids.

Chosen by where the errors of nails and plates are, see ``python -m tests.bench.sizes``.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from math import ceil
from typing import Literal

import numpy as np

from geometries.solids import Part, Role

Level = Literal["coarse", "default", "fine"]
WALLS: tuple[Role, ...] = ("cortex", "nail", "plate")
"""What bolts and screws cross."""
PLATE: tuple[Role, ...] = ("plate",)
SHRINK = 0.82
SAGITTA_SHARE = 0.4


@dataclass(frozen=True)
class Sizes:
    """Edge lengths of a mesh level.

    Parameters
    ----------
    per_wall : dict
        Edge length as a share of the part's wall, by role.
    beside, at_gap : float
        Share of that in a wall beside bolts and screws, and in a plate across the gap.
    longest, shortest : float
        Limits, mm.
    sagitta, rod_sagitta : float
        How far a chord may leave the round surface that it spans, mm: of bolts, screws and what is
        beside them, and of nail, canal and bone elsewhere.
    circle, idle_circle, rod_circle : int
        Edges round a full circle at least: of bolts, of screws near the gap and of what is beside both;
        of other screws; of nail, canal and bone elsewhere.
    """

    per_wall: dict[Role, float]
    beside: float
    at_gap: float
    longest: float
    shortest: float
    sagitta: float
    rod_sagitta: float
    circle: int
    idle_circle: int
    rod_circle: int

    def finer(self) -> Sizes:
        """The same with shorter edges everywhere."""
        return replace(
            self._scaled(SHRINK, self.per_wall),
            longest=SHRINK * self.longest,
            shortest=SHRINK * self.shortest,
            sagitta=SHRINK * self.sagitta,
            rod_sagitta=SHRINK * self.rod_sagitta,
            circle=ceil(self.circle / SHRINK),
            idle_circle=ceil(self.idle_circle / SHRINK),
            rod_circle=ceil(self.rod_circle / SHRINK),
        )

    def near(self) -> Sizes:
        """Those beside bolts and screws, where walls that these cross are finer."""
        return self._scaled(self.beside, WALLS)

    def across(self) -> Sizes:
        """Those of a plate across the gap."""
        return self._scaled(self.at_gap, PLATE)

    def of(self, part: Part) -> float:
        """Edge length for a part, mm."""
        return float(np.clip(self.per_wall[part.role] * part.wall, self.shortest, self.longest))

    def round(self, radius: float, clearance: float) -> float:
        """Edge length on a round surface, mm; facing surfaces must not touch through the chords."""
        return _round(radius, clearance, self.sagitta, self.circle)

    def idle(self, radius: float, clearance: float) -> float:
        """The same of screws that bear little."""
        return _round(radius, clearance, self.sagitta, self.idle_circle)

    def rod(self, radius: float, clearance: float) -> float:
        """The same away from bolts and screws."""
        return _round(radius, clearance, self.rod_sagitta, self.rod_circle)

    def _scaled(self, share: float, roles: Collection[Role]) -> Sizes:
        own = self.per_wall | {role: share * self.per_wall[role] for role in roles}
        return replace(self, per_wall=own)


def _round(radius: float, clearance: float, sagitta: float, circle: int) -> float:
    sagitta = min(sagitta, SAGITTA_SHARE * clearance)
    return float(min(np.sqrt(8 * radius * sagitta), 2 * np.pi * radius / circle))


LEVELS: dict[Level, Sizes] = {
    "coarse": Sizes(
        {"cortex": 1.4, "cancellous": 0.7, "gap": 1.0, "inner": 1.0, "cuff": 0.8, "canal": 6.0,
         "pad": 2.0, "nail": 1.6, "stem": 0.8, "plate": 1.4, "bolt": 0.7, "screw": 0.7},
        beside=1.0, at_gap=0.6, longest=11.0, shortest=1.5, sagitta=0.25, rod_sagitta=0.25,
        circle=10, idle_circle=10, rod_circle=10,
    ),
    "default": Sizes(
        {"cortex": 1.3, "cancellous": 0.6, "gap": 0.8, "inner": 0.8, "cuff": 0.6, "canal": 5.0,
         "pad": 1.5, "nail": 1.6, "stem": 0.6, "plate": 0.9, "bolt": 0.6, "screw": 0.8},
        beside=0.6, at_gap=0.5, longest=10.0, shortest=1.2, sagitta=0.2, rod_sagitta=0.35,
        circle=16, idle_circle=12, rod_circle=10,
    ),
    "fine": Sizes(
        {"cortex": 0.85, "cancellous": 0.34, "gap": 0.45, "inner": 0.45, "cuff": 0.4, "canal": 3.5,
         "pad": 1.0, "nail": 1.0, "stem": 0.4, "plate": 0.6, "bolt": 0.3, "screw": 0.46},
        beside=0.55, at_gap=0.45, longest=7.5, shortest=0.7, sagitta=0.12, rod_sagitta=0.22,
        circle=20, idle_circle=14, rod_circle=11,
    ),
}  # fmt: skip
