"""How much of a run is left: its forecast, held against what the cases that have ended took."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.fem.meshing.sizes import Level
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan

Which = tuple[Level, str]
"""Mesh level and label of a case."""


@dataclass(frozen=True)
class Expected:
    """What a case is expected to take, s: itself, and its share of a mesh that is made for several."""

    own: float
    shared: float

    @property
    def whole(self) -> float:
        """Both."""
        return self.own + self.shared


@dataclass
class Ahead:
    """What a run has yet to do, side by side on some workers.

    Parameters
    ----------
    waiting : dict
        What each case that has not ended is expected to take; cases that are alike run once.
    workers : int
        Cases at a time; 0 where nobody knows.
    """

    waiting: dict[Which, Expected]
    workers: int
    _took: float = 0.0
    _expected: float = 0.0
    _shared: float = 0.0

    @classmethod
    def of(cls, plans: Iterable[Plan], workers: int) -> Ahead:
        """All cases of some plans."""
        waiting: dict[Which, Expected] = {}
        for plan in plans:
            for items in plan.meshes.values():
                for item in items:
                    work, alone = item.work, len(items) == 1
                    own = work.solving_s + (work.mesh_s if alone else 0.0)
                    shared = 0.0 if alone else work.mesh_s / len(items)
                    waiting[item.case.level, item.case.label] = Expected(own, shared)
        return cls(waiting, workers)

    def ended(self, level: Level, outcome: Outcome) -> None:
        """Note that a case has ended; one that failed or was finished before tells nothing of speed."""
        expected = self.waiting.pop((level, outcome.case.label), None)
        if expected is not None and not outcome.reused and not outcome.failure:
            self._took += outcome.seconds
            self._expected += expected.own
            self._shared += expected.shared

    def left(self, elapsed: float) -> float | None:
        """Seconds that are left so many after the start; None before the first case tells the speed.

        What is under way counts as begun, but for no more than the longest case.
        """
        if not self._expected or not self.workers:
            return None
        speed = self._took / self._expected
        rest = [speed * one.whole for one in self.waiting.values()]
        begun = elapsed - (self._took + speed * self._shared) / self.workers
        return max(0.0, sum(rest) / self.workers - min(begun, max(rest, default=0.0)))
