"""What the terminal shows of claims that were judged."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.cli.console import console, say, short, table_of
from pipeline.storage.files import Cells


def print_claims(rows: Sequence[Cells]) -> None:
    """Print each sentence, its number as computed and as stated, and whether it holds."""
    if not rows:
        return
    headings = ("claim", "sentence", "computed", "stated", "unit", "result")
    table = table_of("Claims", headings, ("claim", "computed", "stated"))
    for number, row in enumerate(rows, start=1):
        allowed = f" ± {short(row['allowed'])}" if row["allowed"] else ""
        cells = (
            str(number),
            str(row["sentence"]),
            short(row["computed"]),
            short(row["stated"]) + allowed,
        )
        table.add_row(*cells, str(row["unit"]), str(row["result"]))
    console.print(table)
    for row in rows:
        for words in filter(None, (row["reason"], row["flags"])):
            say(f"{row['what']}: {words}")
