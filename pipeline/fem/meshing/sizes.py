"""Edge lengths of the three mesh levels, from wall thickness, curvature and facing voids."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Literal

import numpy as np

from geometries.solids import Part, Role

Level = Literal["coarse", "default", "fine"]
SHRINK = 0.82
SAGITTA_SHARE = 0.4


@dataclass(frozen=True)
class Sizes:
    """Edge lengths of a mesh level.

    Parameters
    ----------
    per_wall : dict
        Edge length as a share of the part's wall, by role.
    longest, shortest : float
        Limits, mm.
    sagitta : float
        How far a chord may leave the round surface that it spans, mm.
    circle : int
        Edges round a full circle at least.
    """

    per_wall: dict[Role, float]
    longest: float
    shortest: float
    sagitta: float
    circle: int

    def finer(self) -> Sizes:
        """The same with shorter edges everywhere."""
        return Sizes(
            {role: SHRINK * share for role, share in self.per_wall.items()},
            longest=SHRINK * self.longest,
            shortest=SHRINK * self.shortest,
            sagitta=SHRINK * self.sagitta,
            circle=ceil(self.circle / SHRINK),
        )

    def of(self, part: Part) -> float:
        """Edge length for a part, mm."""
        return float(np.clip(self.per_wall[part.role] * part.wall, self.shortest, self.longest))

    def round(self, radius: float, clearance: float) -> float:
        """Edge length on a round surface, mm; facing surfaces must not touch through the chords."""
        sagitta = min(self.sagitta, SAGITTA_SHARE * clearance)
        return float(min(np.sqrt(8 * radius * sagitta), 2 * np.pi * radius / self.circle))


LEVELS: dict[Level, Sizes] = {
    "coarse": Sizes(
        {"cortex": 1.4, "cancellous": 0.7, "gap": 1.0, "inner": 1.0, "cuff": 0.8, "canal": 6.0,
         "pad": 2.0, "nail": 1.6, "stem": 0.8, "plate": 1.4, "bolt": 0.7, "screw": 0.7},
        longest=11.0, shortest=1.5, sagitta=0.25, circle=10,
    ),
    "default": Sizes(
        {"cortex": 0.75, "cancellous": 0.45, "gap": 0.6, "inner": 0.6, "cuff": 0.5, "canal": 5.0,
         "pad": 1.5, "nail": 1.0, "stem": 0.5, "plate": 0.5, "bolt": 0.5, "screw": 0.5},
        longest=7.0, shortest=1.2, sagitta=0.2, circle=16,
    ),
    "fine": Sizes(
        {"cortex": 0.45, "cancellous": 0.3, "gap": 0.35, "inner": 0.35, "cuff": 0.33, "canal": 3.5,
         "pad": 1.0, "nail": 0.5, "stem": 0.35, "plate": 0.35, "bolt": 0.3, "screw": 0.3},
        longest=4.5, shortest=0.7, sagitta=0.12, circle=20,
    ),
}  # fmt: skip
