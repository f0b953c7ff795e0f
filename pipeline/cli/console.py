"""The terminal: plain sentences, tables with a heading, and the bar of a long command."""

from __future__ import annotations

import os
import sys
from collections.abc import Collection, Sequence
from datetime import timedelta

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    Task,
    TextColumn,
    TimeElapsedColumn,
)
from rich.table import Table
from rich.text import Text

LINES_SHOWN = 8
WIDTH = 132  # of what is no terminal and has no COLUMNS
console = Console(width=None if sys.stdout.isatty() or "COLUMNS" in os.environ else WIDTH)


def plain(text: str) -> str:
    """A text without signs that a terminal obeys or hides: their numbers stand in their place."""
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() or one == "\n" else ascii(one)[1:-1] for one in text)


def say(text: str) -> None:
    """Print a text as it is; no word or number of it is markup or coloured."""
    console.print(plain(text), markup=False, highlight=False)


def say_whole(text: str) -> None:
    """Print lines that nothing breaks, as those with a path, which is copied."""
    console.print(plain(text), markup=False, highlight=False, soft_wrap=True)


def say_first(lines: Sequence[str], table: str) -> None:
    """Print the first lines of a list, and which table has the rest."""
    for line in lines[:LINES_SHOWN]:
        say(line)
    if len(lines) > LINES_SHOWN:
        console.print(f"... and {len(lines) - LINES_SHOWN} more; {table} lists all.")


def counted(count: int, noun: str, several: str = "") -> str:
    """A number with its noun, which agrees with it; the plural where it is no added s."""
    return f"{count} {noun if count == 1 else several or f'{noun}s'}"


def short(value: object) -> str:
    """A number as a person reads it; tables read back from disk have text."""
    try:
        return f"{float(str(value)):.4g}"
    except ValueError:
        return str(value)


def table_of(title: str, headings: Sequence[str], numbers: Collection[str] = ()) -> Table:
    """Make a table without rows; columns of numbers are set to the right.

    Parameters
    ----------
    title : str
        What stands above it.
    headings, numbers : collection of str
        Headings of all columns, and of those that hold numbers.
    """
    table = Table(title=title, title_justify="left", header_style="bold")
    for heading in headings:
        table.add_column(heading, justify="right" if heading in numbers else "left")
    return table


class TimeLeft(ProgressColumn):
    """Time until a task is expected to end; its field ``ends`` says when, in seconds, if known."""

    def render(self, task: Task) -> Text:
        """Count down to that."""
        ends = task.fields["ends"]
        if ends is None:
            return Text("-:--:--")
        return Text(str(timedelta(seconds=round(max(0.0, ends - (task.elapsed or 0.0))))))


def progress_bar() -> Progress:
    """Make the bar that a long command shows."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[failed]} failed"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeLeft(),
    )
    return Progress(*columns, console=console)
