"""What a run says while it goes on: a bar for people, nothing or JSON lines for batch queues."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal

from rich.progress import Progress, TaskID

from pipeline.cli.console import console, progress_bar, say
from pipeline.run.jobs import Outcome

Voice = Literal["bar", "quiet", "json"]


@dataclass
class Reporter:
    """Counts cases as they end, over all mesh levels, and says so; a level only if there are more."""

    voice: Voice
    total: int
    has_levels: bool
    done: int = 0
    failed: int = 0
    _bar: Progress | None = field(default=None, repr=False)
    _task: TaskID = field(default=TaskID(0), repr=False)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Show the bar meanwhile, if there is one."""
        if self.voice != "bar":
            yield
            return
        with progress_bar() as bar:
            self._bar = bar
            self._task = bar.add_task("meshing and solving", total=self.total, failed=0)
            yield

    def ended(self, level: str, outcome: Outcome) -> None:
        """Say that a case has ended."""
        self.done += 1
        self.failed += bool(outcome.failure)
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
            self._bar.update(self._task, advance=1, failed=self.failed)
        elif outcome.failure:
            say(_line(outcome))

    def event(self, name: str, **content: Any) -> None:
        """Write one line of JSON, in that voice only."""
        if self.voice == "json":
            line = json.dumps({"event": name, **content})
            console.print(line, markup=False, highlight=False, soft_wrap=True)


def _line(outcome: Outcome) -> str:
    """One line for a case as it ends."""
    if outcome.reused:
        return f"{outcome.case.label}: finished before"
    lost = f", failed at {', '.join(outcome.failed_stages)}" if outcome.failed_stages else ""
    return f"{outcome.case.label}: {outcome.failure or f'{outcome.seconds:.0f} s{lost}'}"
