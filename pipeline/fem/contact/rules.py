"""When stops bear: how far each lets its bodies move, whatever the mesh."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import dist

import numpy as np

from geometries.stops import Stop
from pipeline.fem.space import Array, Flags, Ints

EQUAL_DIGITS = 4  # of overlaps in mm
OVERLAP_MM, OVERLAP_SHARE = 0.005, 0.01  # allowed: the larger of both, of the clearance


@dataclass(frozen=True)
class Rules:
    """The stops of a construct.

    Parameters
    ----------
    listed : tuple of Stop
        Those whose windows the mesh has.
    """

    listed: tuple[Stop, ...]

    @cached_property
    def starts(self) -> Ints:
        """First component of each, and the number of all (stops + 1,)."""
        return np.cumsum([0, *(len(stop.directions) for stop in self.listed)])

    @cached_property
    def touches(self) -> dict[str, Ints]:
        """Numbers of the stops of each touch."""
        names = np.array([stop.touch for stop in self.listed])
        return {name: np.flatnonzero(names == name) for name in dict.fromkeys(names.tolist())}

    @cached_property
    def sizes(self) -> Ints:
        """Number of directions (stops,) of each."""
        return np.diff(self.starts)

    @cached_property
    def clearance(self) -> Array:
        """Clearance (stops,) of each, mm."""
        return np.array([stop.clearance for stop in self.listed])

    @cached_property
    def rest(self) -> Array:
        """Where each stands at rest (components,), mm."""
        return np.array([one for stop in self.listed for one in stop.rest])

    @cached_property
    def is_one_sided(self) -> Flags:
        """Which (stops,) bear only where bodies come closer."""
        return np.array([stop.is_one_sided for stop in self.listed], dtype=bool)

    @cached_property
    def allowed(self) -> Array:
        """Overlap (stops,) that is as good as none, mm."""
        return np.maximum(OVERLAP_MM, OVERLAP_SHARE * self.clearance)

    def overlaps(self, moved: Array) -> Array:
        """How far stops are overrun (stops,) by movement with rest (components,), mm."""
        if not len(moved):
            return np.zeros(0)
        size = np.sqrt(np.add.reduceat(moved**2, self.starts[:-1]))
        return np.where(self.is_one_sided, -moved[self.starts[:-1]], size) - self.clearance

    def worst(self, beyond: Array) -> set[int]:
        """The stop that is overrun most in each neighbourhood, from by how much (stops,), mm.

        A neighbourhood is what a stop relieves. Of such that are as good as equal the first is taken.
        """
        found: list[int] = []
        digits = np.round(beyond, EQUAL_DIGITS)
        for k in np.argsort(-digits, kind="stable"):
            if beyond[k] <= 0:
                break
            if not any(_relieves(self.listed[one], self.listed[k]) for one in found):
                found.append(int(k))
        return set(found)

    def columns(self, chosen: Iterable[int]) -> Ints:
        """Columns of some stops."""
        return np.concatenate([np.zeros(0, dtype=np.int64), *(self._spans[k] for k in chosen)])

    @cached_property
    def _spans(self) -> list[Ints]:
        """Columns of each stop."""
        return [np.arange(a, b) for a, b in pairwise(self.starts)]


def _relieves(one: Stop, other: Stop) -> bool:
    return one.touch == other.touch and dist(one.points[0], other.points[0]) <= one.relieves_mm
