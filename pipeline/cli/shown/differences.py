"""What the terminal shows of two runs compared."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.cli.console import console, say, short, table_of
from pipeline.sharing.compare import OUTSIDE, WHERE, agree
from pipeline.storage.files import Cells


def print_differences(rows: Sequence[Cells]) -> None:
    """Print for each quantity the pair of results that uses most of what it is allowed."""
    headings = ("quantity", "pairs", "where most apart", "a", "b", "difference", "allowed", "verdict")
    table = table_of("Differences", headings, ("pairs", "a", "b", "difference", "allowed"))
    for row in rows:
        table.add_row(*_difference(row))
    console.print(table)
    outside = sum(row["verdict"] == OUTSIDE for row in rows)
    words = f"{outside} of {len(rows)} quantities differ." if rows else "There is nothing to compare."
    say("All results agree." if agree(rows) else words)


def _difference(row: Cells) -> tuple[str, ...]:
    where = " · ".join(str(row[name]) for name in (*WHERE, "location") if row[name])
    verdict = str(row["verdict"])
    if row["outside"]:
        verdict += f", {row['outside']} of {row['pairs']}"
    if row["reason"]:
        verdict += f": {row['reason']}"
    values = (short(row["a"]), short(row["b"]), short(row["difference"]), short(row["allowed"]))
    return f"{row['quantity']}, {row['unit']}", str(row["pairs"]), where, *values, verdict
