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
        numbers = (_with(row, "computed", "error"), _with(row, "stated", "allowed"))
        lines.append(
            (str(number), str(row["sentence"]), *numbers, str(row["unit"]), str(row["result"]))
        )
    say_table("Claims", headings, lines, ("claim", "computed", "stated"))
    for row in rows:
        for words in filter(None, (row["reason"], row["flags"])):
            say(f"{row['what']}: {words}")


def _with(row: Cells, number: str, half: str) -> str:
    """A number and how far either way it is meant, if that is known."""
    return short(row[number]) + (f" ± {short(row[half])}" if row[half] else "")
