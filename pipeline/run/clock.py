"""Seconds and peak memory of each step of a case."""

from __future__ import annotations

import resource
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.run.watch import within

STATUS, RESET = Path("/proc/self/status"), Path("/proc/self/clear_refs")


@dataclass
class Clock:
    """Adds up the time of each step and keeps the most memory the process held in it.

    Attributes
    ----------
    seconds : dict
        Time of each step, s.
    peak_mb : dict
        Largest memory of the process during each step, MB. Where the system can not forget an
        earlier peak (any but Linux), it is the largest until the end of the step.
    """

    seconds: dict[str, float] = field(default_factory=dict)
    peak_mb: dict[str, int] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """Time of all steps, s."""
        return sum(self.seconds.values())

    @contextmanager
    def __call__(self, step: str) -> Iterator[None]:
        """Measure one step, and hold it to its limit; a step may come again."""
        with suppress(OSError):
            RESET.write_text("5")  # forget the peak so far
        start = time.perf_counter()
        try:
            with within(step):
                yield
        finally:
            self.seconds[step] = self.seconds.get(step, 0.0) + time.perf_counter() - start
            self.peak_mb[step] = max(self.peak_mb.get(step, 0), _peak_mb())


def _peak_mb() -> int:
    with suppress(OSError):
        for line in STATUS.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) // 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
