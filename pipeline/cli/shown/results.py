"""What the terminal shows of a finished run: main results, failures, published measurements."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.cli.console import counted, say, say_first
from pipeline.cli.wide import say_table
from pipeline.output.beside import BESIDE_HEADINGS, beside
from pipeline.output.tables import short_table
from pipeline.run.answers import TwinAnswer
from pipeline.run.jobs import Outcome
from pipeline.study.config import StudyConfig


def print_results(config: StudyConfig, folder: Path, variant: str = "") -> None:
    """Print the main results of a variant, what failed, and published measurements beside them."""
    stage, load = config.shown
    title = f"Stage {stage}, load {load}" + (f", variant {variant}" if variant else "")
    short = short_table(folder, stage, load)
    rows = [(name, *(cell.text for cell in cells)) for name, cells in short.lines]
    say_table(title, short.headings, rows, short.headings[1:])
    for line in short.legend:
        say(line)
    say_first([reason.text for reason in short.flagged], "results.csv")
    failures = [f"{name} failed: {reason}" for name, reason in short.failures.items()]
    say_first(failures, "results.csv")
    found = beside(folder)
    if not found:
        return
    rows = [row for row, _ in found]
    say_table("Beside published tests", BESIDE_HEADINGS, rows, BESIDE_HEADINGS[1:4])
    for row, words in found:
        say(f"{row[0]}: {words}")


def verdict(outcomes: Sequence[Outcome], answers: Sequence[TwinAnswer] = ()) -> str:
    """Say how many cases failed, wholly or in some of their stages, and what else has no answer.

    Empty if nothing did.
    """
    unanswered = sum(bool(answer.failure) for answer in answers)
    besides = (
        f"{unanswered} of {counted(len(answers), 'question')} to reduced models without answer; "
        "asked.csv says why."
    )
    return " ".join(filter(None, (_of_cases(outcomes), besides if unanswered else "")))


def _of_cases(outcomes: Sequence[Outcome]) -> str:
    failed = sum(bool(outcome.failure) for outcome in outcomes)
    partly = sum(bool(outcome.failed_stages) for outcome in outcomes)
    words = f"{failed or partly} of {counted(len(outcomes), 'case')} failed"
    if partly:
        words += f" and {partly} more in some stages" if failed else " in some stages"
    return f"{words}; results.csv says why." if failed or partly else ""
