"""All verification cases, run one after the other, and the table that they make."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from time import perf_counter

from geometries.errors import StudyError
from pipeline.storage.files import VERIFICATION, check_writable, write_table
from pipeline.verification import beams, bench, constructs, cylinders, exact, plates
from pipeline.verification.check import Check, Problem

PROBLEMS: tuple[Problem, ...] = (
    *exact.PROBLEMS,
    *beams.PROBLEMS,
    *cylinders.PROBLEMS,
    *plates.PROBLEMS,
    *constructs.PROBLEMS,
    *bench.PROBLEMS,
)
COLUMNS = (
    "problem", "title", "quantity", "unit", "computed", "expected", "error", "allowed", "rule",
    "result", "reason", "source", "known", "seconds",
)  # fmt: skip


@dataclass(frozen=True)
class Verified:
    """A problem, its numbers, how long it took, s, and a sentence if it could not be solved."""

    problem: Problem
    checks: tuple[Check, ...]
    seconds: float
    failure: str = ""

    @property
    def passed(self) -> bool:
        """Whether it was solved and every number is within its tolerance."""
        return not self.failure and all(check.passed for check in self.checks)


def selected(quick: bool) -> tuple[Problem, ...]:
    """All problems, or those that take seconds."""
    return tuple(problem for problem in PROBLEMS if problem.quick or not quick)


def verify(problems: tuple[Problem, ...]) -> Iterator[Verified]:
    """Run problems one after the other; one that can not be solved ends with a sentence."""
    for problem in problems:
        start = perf_counter()
        try:
            checks, failure = tuple(problem.run()), ""
        except StudyError as error:
            checks, failure = (), str(error)
        yield Verified(problem, checks, perf_counter() - start, failure)


def write_outcomes(outcomes: list[Verified], out: Path) -> None:
    """Write the table of all checks, ``verification.csv``.

    Raises
    ------
    OutputError
        If the folder can not be written.
    """
    check_writable(out)
    write_table(out / VERIFICATION, [row for outcome in outcomes for row in _rows(outcome)], COLUMNS)


def _rows(outcome: Verified) -> Iterator[dict[str, object]]:
    common = {"problem": outcome.problem.name, "title": outcome.problem.title}
    common["seconds"] = f"{outcome.seconds:.1f}"
    if outcome.failure:
        yield {**common, "result": "failed", "reason": outcome.failure}
    for check in outcome.checks:
        said = dict(zip(("error", "allowed"), check.in_words, strict=True))
        yield {**common, **asdict(check), **said, "result": "passed" if check.passed else "failed"}
