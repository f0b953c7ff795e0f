"""What a run says while it goes on: a bar for people, nothing or JSON lines for batch queues."""

from __future__ import annotations

import json
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from rich.progress import Progress, TaskID

from pipeline.cli.console import console, progress_bar, say
from pipeline.fem.meshing.sizes import Level
from pipeline.run.ahead import Ahead
from pipeline.run.answers import TwinAnswer
from pipeline.run.engine import Place
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan
from pipeline.storage.caution import CAUTION

Voice = Literal["bar", "quiet", "json"]


@dataclass
class Reporter:
    """Counts cases as they end, over all mesh levels, and says so; a level only if there are more."""

    voice: Voice
    total: int
    has_levels: bool
    ahead: Ahead
    asks: bool = False
    done: int = 0
    failed: int = 0
    unanswered: int = 0
    _bar: Progress | None = field(default=None, repr=False)
    _task: TaskID = field(default=TaskID(0), repr=False)
    _asking: TaskID | None = field(default=None, repr=False)
    _began: float = field(default_factory=time.monotonic, repr=False)

    @classmethod
    def of(cls, voice: Voice, planned: Plan, sample: Collection[str], place: Place) -> Reporter:
        """Make what tells of a plan, some of whose cases run on all mesh levels."""
        plans = [planned, *(planned.only(sample).elsewhere if sample else ())]
        ahead = Ahead.of(plans, 0 if place.scheduler else place.workers)
        total, asks = sum(len(one.items) for one in plans), planned.study.asks_more
        return cls(voice, total, bool(sample), ahead, asks)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Show the bar meanwhile, if there is one; JSON begins and ends with the caution."""
        self.event("start", total=self.total, caution=CAUTION)
        if self.voice != "bar":
            yield
            return
        with progress_bar() as bar:
            self._bar = bar
            self._began = time.monotonic()
            self._task = bar.add_task("meshing and solving", total=self.total, failed=0, ends=None)
            yield

    def ended(self, level: Level, outcome: Outcome) -> None:
        """Say that a case has ended."""
        self.done += 1
        self.failed += bool(outcome.failure)
        self.ahead.ended(level, outcome)
        if self.voice == "json":
            told = outcome.cells() | {
                "seconds": round(outcome.seconds, 1),
                "failed_stages": list(outcome.failed_stages),
                "reused": outcome.reused,
            }
            self.event("case", level=level, **told, done=self.done, total=self.total)
        elif self._bar is not None:
            said = f"  {_line(outcome)}" + (f" ({level})" if self.has_levels else "")
            say(said)
            self._bar.update(self._task, advance=1, failed=self.failed, ends=self._ends())
            if self.asks and self.done == self.total:
                self._begin_asking(self._bar)
        elif outcome.failure:
            say(_line(outcome))

    def finished(self, folder: Path) -> None:
        """Say where the results of a run lie that has come to its end."""
        self.event("end", folder=str(folder), done=self.done, failed=self.failed, caution=CAUTION)

    def answered(self, answer: TwinAnswer) -> None:
        """Say that a job that came after the cases has ended."""
        self.unanswered += bool(answer.failure)
        if self.voice == "json":
            seconds, counted = round(answer.seconds, 1), {"done": answer.done, "total": answer.total}
            self.event("asked", **answer.cells(), seconds=seconds, **counted)
        elif self._bar is not None:
            say(f"  {_said(answer)}")
            task = self._begin_asking(self._bar) if self._asking is None else self._asking
            self._bar.update(task, completed=answer.done, total=answer.total, failed=self.unanswered)
        elif answer.failure:
            say(_said(answer))

    def _begin_asking(self, bar: Progress) -> TaskID:
        """Show that reduced models are asked; how often is known when the first has answered."""
        self._asking = bar.add_task("asking reduced models", total=None, failed=0, ends=None)
        return self._asking

    def _ends(self) -> float | None:
        """Seconds after the start at which the run is expected to end, if anything tells."""
        elapsed = time.monotonic() - self._began
        left = self.ahead.left(elapsed)
        return None if left is None else elapsed + left

    def event(self, name: str, **content: Any) -> None:
        """Write one line of JSON, in that voice only."""
        if self.voice == "json":
            line = json.dumps({"event": name, **content})
            console.print(line, markup=False, highlight=False, soft_wrap=True)


def _said(answer: TwinAnswer) -> str:
    """One line for what was asked after the cases."""
    return f"{answer.label}: {answer.failure or f'{answer.seconds:.0f} s'}"


def _line(outcome: Outcome) -> str:
    """One line for a case as it ends."""
    if outcome.reused:
        return f"{outcome.case.label}: finished before"
    lost = f", failed at {', '.join(outcome.failed_stages)}" if outcome.failed_stages else ""
    return f"{outcome.case.label}: {outcome.failure or f'{outcome.seconds:.0f} s{lost}'}"
