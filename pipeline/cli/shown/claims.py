"""What the terminal shows of claims that were judged."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.cli.console import say, short
from pipeline.cli.wide import say_table
from pipeline.storage.files import Cells


def print_claims(rows: Sequence[Cells]) -> None:
    """Print each sentence, its number as computed and as stated, and whether it holds."""
    if not rows:
        return
    headings = ("claim", "sentence", "computed", "stated", "unit", "result")
    lines = []
    for number, row in enumerate(rows, start=1):
        allowed = f" ± {short(row['allowed'])}" if row["allowed"] else ""
        cells = (
            str(number),
            str(row["sentence"]),
            short(row["computed"]),
            short(row["stated"]) + allowed,
        )
        lines.append((*cells, str(row["unit"]), str(row["result"])))
    say_table("Claims", headings, lines, ("claim", "computed", "stated"))
    for row in rows:
        for words in filter(None, (row["reason"], row["flags"])):
            say(f"{row['what']}: {words}")
