"""What the terminal shows of two runs compared, and of claims judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.table import Table

from pipeline.cli.terminal import console
from pipeline.sharing.compare import OUTSIDE, WHERE, agree
from pipeline.sharing.reproduction import Reproduction

Row = Mapping[str, object]


def print_differences(rows: Sequence[Row]) -> None:
    """Print for each quantity the pair of results that uses most of what it is allowed."""
    table = Table(title="Differences", title_justify="left", header_style="bold")
    headings = ("quantity", "pairs", "where most apart", "a", "b", "difference", "allowed", "verdict")
    for heading in headings:
        is_number = heading in ("pairs", "a", "b", "difference", "allowed")
        table.add_column(heading, justify="right" if is_number else "left")
    for row in rows:
        table.add_row(*_difference(row))
    console.print(table)
    outside = sum(row["verdict"] == OUTSIDE for row in rows)
    words = f"{outside} of {len(rows)} quantities differ." if rows else "There is nothing to compare."
    console.print("All results agree." if agree(rows) else words, highlight=False)


def _difference(row: Row) -> tuple[str, ...]:
    where = " · ".join(str(row[name]) for name in (*WHERE, "location") if row[name])
    verdict = str(row["verdict"])
    if row["outside"]:
        verdict += f", {row['outside']} of {row['pairs']}"
    if row["reason"]:
        verdict += f": {row['reason']}"
    values = (_short(row["a"]), _short(row["b"]), _short(row["difference"]), _short(row["allowed"]))
    return f"{row['quantity']}, {row['unit']}", str(row["pairs"]), where, *values, verdict


def print_claims(rows: Sequence[Row]) -> None:
    """Print each sentence, its number as computed and as stated, and whether it holds."""
    if not rows:
        return
    table = Table(title="Claims", title_justify="left", header_style="bold")
    for heading in ("sentence", "computed", "stated", "unit", "result"):
        is_number = heading in ("computed", "stated")
        table.add_column(heading, justify="right" if is_number else "left")
    for row in rows:
        allowed = f" ± {_short(row['allowed'])}" if row["allowed"] else ""
        cells = str(row["sentence"]), _short(row["computed"]), _short(row["stated"]) + allowed
        table.add_row(*cells, str(row["unit"]), str(row["result"]))
    console.print(table)
    for row in rows:
        for words in filter(None, (row["reason"], row["flags"])):
            console.print(f"{row['what']}: {words}", markup=False, highlight=False)


def print_reproduction(found: Reproduction) -> None:
    """Print what was run, what was not as in the bundle's own run, differences and claims."""
    if found.chosen:
        console.print(f"Run again: {', '.join(found.chosen)}.", markup=False, highlight=False)
    for note in found.notes:
        console.print(note, markup=False, highlight=False)
    print_differences(found.differences)
    print_claims(found.claims)


def _short(value: object) -> str:
    """A number as a person reads it; tables read back from disk have text."""
    try:
        return f"{float(str(value)):.4g}"
    except ValueError:
        return str(value)
