"""Ends a worker that hangs. The watch runs beside Python, so no loop in C and no held lock stops it."""

from __future__ import annotations

import faulthandler
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from math import ceil
from pathlib import Path
from typing import TextIO

from pipeline.storage.files import writing

REST = ""  # what is under way between named steps
STRUCK = "Timeout ("  # how the watch begins its report, before it ends the process
ASKED, FLIP = "asked", "flip"
STEPS = {
    "mesh": "its mesh",
    "solve": "the solution of one stage",
    "reduced": "its reduced model",
    ASKED: "what its reduced model is asked for",
    FLIP: "the search for what turns the order",
}


@dataclass(frozen=True)
class StepLimit:
    """How long each step of a job may take before its process is ended.

    Parameters
    ----------
    steps : mapping of str to float
        Seconds of each step that the job's clock names; ``REST`` for all others.
    note : Path
        File that names the step under way. The watch adds where the program stood when it struck, which
        is how the next process knows; it stays as a log.
    """

    steps: Mapping[str, float]
    note: Path

    @property
    def has_struck(self) -> bool:
        """Whether a process that did this job was ended for it."""
        return self.note.is_file() and STRUCK in self.note.read_text(encoding="utf-8")

    @property
    def reason(self) -> str:
        """What was ended, after how long, and how to allow more, in a sentence."""
        lines = self.note.read_text(encoding="utf-8").splitlines()
        step = next(line for line in reversed(lines) if line.startswith("step:")).removeprefix("step:")
        seconds = self.of(step.strip())
        minutes = max(2, ceil(max(self.steps.values()) / 30))  # twice what any step may take now
        return (
            f"{STEPS.get(step.strip(), 'a step of it')} took longer than the {spoken(seconds)} that it "
            f"may take, so its worker was ended and another started; {self.note.parent.name}/"
            f"{self.note.name} says where it stood. If it only needs longer, allow more by "
            f"--time-limit {minutes} (minutes, for every step of every case): run the same "
            "command again with that"
        )

    def of(self, step: str) -> float:
        """Seconds that a step may take."""
        return self.steps.get(step, self.steps[REST])


_under_way: ContextVar[tuple[StepLimit, TextIO] | None] = ContextVar("under_way", default=None)


@contextmanager
def watched(limit: StepLimit) -> Iterator[None]:
    """End this process if a step of the block takes longer than its limit."""
    with writing(limit.note):
        limit.note.parent.mkdir(parents=True, exist_ok=True)
        note = limit.note.open("w", encoding="utf-8")
    before = _under_way.set((limit, note))
    try:
        _begin(REST)
        yield
    finally:
        faulthandler.cancel_dump_traceback_later()
        _under_way.reset(before)
        note.close()
        limit.note.unlink(missing_ok=True)


@contextmanager
def within(step: str) -> Iterator[None]:
    """Hold the block to the limit of a step, where a job is watched."""
    _begin(step)
    try:
        yield
    finally:
        _begin(REST)


def _begin(step: str) -> None:
    """Set the watch anew."""
    watch = _under_way.get()
    if watch is not None:
        limit, note = watch
        note.write(f"step: {step}\n")
        note.flush()
        faulthandler.dump_traceback_later(limit.of(step), file=note, exit=True)


def spoken(seconds: float) -> str:
    """A time as a person says it."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
