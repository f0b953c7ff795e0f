"""Assumptions, the other way round: what each of them does to results."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.output.report.cells import Entry
from pipeline.output.report.run import ReportedRun
from pipeline.output.tables import number_in

MOST_LISTED = 40


@dataclass(frozen=True)
class Assumed:
    """Rows of the table, those with the primary outcome's quantity first and by size; and how many."""

    rows: list[Entry]
    count: int

    @property
    def more(self) -> int:
        """How many rows are left out."""
        return self.count - len(self.rows)


def assumed_of(run: ReportedRun) -> Assumed | None:
    """Read what a run has of it; None if it has nothing."""
    if not run.assumptions:
        return None
    asked = run.study.asked.quantity

    def place(entry: Entry) -> tuple[bool, float]:
        effect = number_in(entry["effect_percent"])
        return entry["quantity"] != asked, -abs(effect) if effect is not None else 1.0

    return Assumed(sorted(run.assumptions, key=place)[:MOST_LISTED], len(run.assumptions))
