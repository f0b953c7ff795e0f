"""What the terminal shows of two runs compared."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.cli.console import say, short
from pipeline.cli.wide import say_table
from pipeline.sharing.compare import WHERE, agree
from pipeline.storage.files import Cells
from pipeline.tables.judged import OUTSIDE


def print_differences(rows: Sequence[Cells]) -> None:
    """Print each quantity that differs, at the pair of results that uses most of what it is allowed."""
    headings = ("quantity", "pairs", "where most apart", "a", "b", "difference", "allowed", "verdict")
    differ = [row for row in rows if row["verdict"] == OUTSIDE]
    if differ:
        numbers = ("pairs", "a", "b", "difference", "allowed")
        say_table("Differences", headings, map(_difference, differ), numbers)
    words = (
        f"{len(differ)} of {len(rows)} quantities differ." if rows else "There is nothing to compare."
    )
    say("All results agree." if agree(rows) else words)
    _print_nearest([row for row in rows if row["verdict"] != OUTSIDE and row["difference"]])


def _print_nearest(rows: Sequence[Cells]) -> None:
    """Say how near to its limit the nearest of those comes that agree and are not equal."""
    if not rows:
        return
    near = max(rows, key=lambda row: float(str(row["difference"])) / float(str(row["allowed"])))
    say(
        f"Of those that agree and are not equal, {near['quantity']} is nearest to its "
        f"limit, {_where(near)}: {short(near['difference'])} of {short(near['allowed'])} "
        f"{near['unit']} allowed."
    )


def _where(row: Cells) -> str:
    return " · ".join(str(row[name]) for name in (*WHERE, "location") if row[name])


def _difference(row: Cells) -> tuple[str, ...]:
    verdict = str(row["verdict"])
    if row["outside"]:
        verdict += f", {row['outside']} of {row['pairs']}"
    if row["reason"]:
        verdict += f": {row['reason']}"
    values = (short(row["a"]), short(row["b"]), short(row["difference"]), short(row["allowed"]))
    return f"{row['quantity']}, {row['unit']}", str(row["pairs"]), _where(row), *values, verdict
