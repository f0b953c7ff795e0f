"""Tables for a terminal of any width: columns that do not fit beside each other stand below."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from rich.table import Table
from rich.text import Text

from pipeline.cli import console

NARROW = 20  # letters to which a column of words may shrink
REST = 24  # letters that the longest names leave to the other columns
FRAME = 3  # letters round a column, and one more round them all


@dataclass(frozen=True)
class Shown:
    """A column: its heading and cells, and whether they are numbers, which are never broken."""

    heading: str
    cells: tuple[str, ...]
    is_number: bool

    @property
    def side(self) -> Literal["left", "right"]:
        """On which side its cells begin or end."""
        return "right" if self.is_number else "left"

    @property
    def widest(self) -> int:
        """Letters of its longest line."""
        return _longest(line for text in (self.heading, *self.cells) for line in text.splitlines())

    @property
    def least(self) -> int:
        """Letters that it can do with."""
        words = _longest(self.heading.split())
        if self.is_number:
            return max(words, _longest(line for cell in self.cells for line in cell.splitlines()))
        words = max(words, _longest(word for cell in self.cells for word in cell.split()))
        return min(self.widest, max(NARROW, words))


def say_table(
    title: str, headings: Sequence[str], rows: Iterable[Sequence[str]], numbers: Collection[str] = ()
) -> None:
    """Print a table whose first column names its rows and stands before every block of the others.

    Numbers and names keep their line; words wrap between words. Columns of `numbers` stand on the
    right, and those without anything are left out.
    """
    lines = [tuple(map(console.plain, row)) for row in rows]
    cells = list(zip(*lines, strict=True)) or [()] * len(headings)
    columns = [
        Shown(heading, own, heading in numbers)
        for heading, own in zip(headings, cells, strict=True)
        if not own or any(own) or heading == headings[0]
    ]
    width = console.console.width - 1 - FRAME
    names = min(columns[0].widest, width - REST)
    room = width - names
    for number, block in enumerate(_blocks(columns[1:], room)):
        words = f"{title}, continued" if number else title
        table = Table(title=Text(console.plain(words)), title_justify="left", header_style="bold")
        widths = (names, *_widths(block, room))
        for column, width in zip((columns[0], *block), widths, strict=True):
            table.add_column(Text(column.heading), justify=column.side, width=width, overflow="fold")
        for row in zip(*(column.cells for column in (columns[0], *block)), strict=True):
            table.add_row(*map(Text, row))
        console.console.print(table)


def _blocks(columns: Sequence[Shown], room: int) -> Iterator[list[Shown]]:
    """Columns in their order, as many in a block as have room for what they can do with."""
    block: list[Shown] = []
    for column in columns:
        if block and sum(one.least + FRAME for one in (*block, column)) > room:
            yield block
            block = []
        block.append(column)
    yield block


def _widths(block: Sequence[Shown], room: int) -> list[int]:
    """Widths of a block's columns; what is left goes to those that need it most."""
    widths = [min(column.least, room - FRAME) for column in block]
    for _ in range(room - sum(width + FRAME for width in widths)):
        needs = [column.widest / width for column, width in zip(block, widths, strict=True)]
        if max(needs, default=0) <= 1:
            break
        widths[needs.index(max(needs))] += 1
    return widths


def _longest(texts: Iterable[str]) -> int:
    return max(map(len, texts), default=1)
