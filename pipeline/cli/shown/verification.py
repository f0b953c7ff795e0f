"""What the terminal shows of the cases with a known answer."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.cli.console import console, say, table_of
from pipeline.verification.suite import Verified


def verified_line(outcome: Verified) -> str:
    """One line for a verification case as it ends."""
    result = "passed" if outcome.passed else "FAILED"
    return f"{outcome.problem.name}: {result}, {outcome.seconds:.0f} s"


def print_verification(outcomes: Sequence[Verified]) -> None:
    """Print every number of the verification cases beside what it should be."""
    headings = ("case", "quantity", "computed", "expected", "unit", "error", "allowed", "result")
    table = table_of("Verification", headings, ("computed", "expected", "error", "allowed"))
    for outcome in outcomes:
        for check in outcome.checks:
            table.add_row(
                outcome.problem.name, check.quantity, f"{check.computed:.5g}", f"{check.expected:.5g}",
                check.unit, *check.in_words, "passed" if check.passed else "FAILED",
            )  # fmt: skip
        if outcome.failure:
            table.add_row(outcome.problem.name, outcome.failure, *[""] * 5, "FAILED")
    console.print(table)
    passed = sum(outcome.passed for outcome in outcomes)
    say(f"{passed} of {len(outcomes)} cases passed.")
