"""Jobs that come after the cases: how long each may take, and how it ended."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.measures.exploring import ASKED_COLUMNS
from pipeline.run.assumed import FINER
from pipeline.run.forecast import ANSWER_S, allowed_s
from pipeline.run.jobs import LOGS
from pipeline.run.planning import Planned
from pipeline.run.watch import ASKED, FLIP, REST, StepLimit
from pipeline.storage.files import Cells

LEAST_ANSWERS = 200  # of any construct: its tissue step by step, and how far its page is off
FLIP_ANSWERS = 5000  # of both constructs of a pair, to find what turns it


@dataclass(frozen=True)
class TwinAnswer:
    """How a job that came after the cases ended.

    Parameters
    ----------
    construct, against : str
        Whose reduced model was asked; the second of a pair, if it was one.
    failure : str
        Why it has no answer, in a sentence; else empty.
    seconds : float
        How long it took.
    done, total : int
        How many such jobs have ended, and how many there are.
    """

    construct: str
    against: str
    failure: str
    seconds: float
    done: int
    total: int

    @property
    def label(self) -> str:
        """What was asked, in words."""
        if self.against:
            return f"{self.construct} against {self.against}, what turns their order"
        return f"{self.construct}, over other inputs"

    def cells(self) -> Cells:
        """How it ended, as ``asked.csv`` has it."""
        status = "failed" if self.failure else "ok"
        told = (self.construct, self.against, status, self.failure)
        return dict(zip(ASKED_COLUMNS, told, strict=True))


Heard = Callable[[TwinAnswer], None]
"""Is told of each such job as it ends."""


def answer_limit(
    out: Path, minutes: float | None, items: Sequence[Planned], samples: int = 0
) -> StepLimit:
    """How long the steps of a job may take that asks one construct, or a pair for what turns it.

    Nothing is left of what an earlier run said of it.
    """
    largest = max(items, key=lambda item: item.unknowns)
    case = largest.case
    finer = largest.sizes[FINER.get(case.level, case.level)]  # as some assumptions have it
    allowed = replace(largest.work, unknowns=finer).allowed(minutes)
    steps = {
        "mesh": allowed.mesh_s,
        ASKED: allowed_s(ANSWER_S * max(samples, LEAST_ANSWERS), minutes),
        FLIP: allowed_s(ANSWER_S * FLIP_ANSWERS, minutes),
        REST: allowed.stage_s,
    }
    name = "-and-".join(item.case.label for item in items)
    limit = StepLimit(steps, out / LOGS / f"asked-{name}.hung.txt")
    limit.note.unlink(missing_ok=True)
    return limit
