"""The command that verifies the program against known answers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.console import progress_bar, say
from pipeline.cli.options import Out
from pipeline.cli.shown.verification import print_verification, verified_line
from pipeline.output.pages import verification_page
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import VERIFICATION
from pipeline.storage.provenance import in_words
from pipeline.verification.suite import selected, write_outcomes
from pipeline.verification.suite import verify as verified

Quick = Annotated[bool, typer.Option("--quick", help="Only the cases that take seconds.")]


def verify(quick: Quick = False, out: Out = None) -> None:
    """Solve cases with a known answer and set the answers side by side; exit code 1 if one is off."""
    folder = out or Path("results") / "verification"
    problems = selected(quick)
    outcomes = []
    with progress_bar() as bar:
        task = bar.add_task("verifying", total=len(problems), failed=0)
        for outcome in verified(problems):
            outcomes.append(outcome)
            say(f"  {verified_line(outcome)}")
            failed = sum(not one.passed for one in outcomes)
            bar.update(task, advance=1, failed=failed)
    write_outcomes(outcomes, folder)
    page = verification_page(folder, in_words(), CAUTION)
    print_verification(outcomes)
    say(f"Table and page: {folder / VERIFICATION}, {page}\n{CAUTION}")
    if not all(outcome.passed for outcome in outcomes):
        raise typer.Exit(1)
