"""Cells of the tables on disk, each printed in one way and each with its address in the page."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import floor, log10
from typing import NamedTuple

from pipeline.output.tables import number_in
from pipeline.tables import rows

Texts = dict[str, str]
DIGITS = 3  # significant; the mesh's error is rarely known to more
MINUS = "\N{MINUS SIGN}"
ALL, FINEST = 100.0, 4  # percent, and decimals of it
LARGE, SMALL = 1e7, 1e-4  # beyond them as a power of ten


def shown(text: str) -> str:
    """A cell as a person reads it: numbers to three significant digits, whole ones in full."""
    value = number_in(text)
    if value is None:
        return text
    if value == 0:
        return "0"
    size = abs(value)
    if not SMALL <= size < LARGE:
        return f"{value:.{DIGITS - 1}e}".replace("-", MINUS)
    decimals = max(0, DIGITS - 1 - floor(log10(size)))
    return f"{value:.{decimals}f}".replace("-", MINUS)


def shown_percent(text: str) -> str:
    """A share of a whole, percent: to a tenth, finer where that would round it to none or to all."""
    value = number_in(text)
    if value is None:
        return text
    if value in (0.0, ALL):
        return f"{value:.0f}"
    shorter = (f"{value:.{decimals}f}" for decimals in range(1, FINEST))
    words = next((one for one in shorter if float(one) not in (0.0, ALL)), f"{value:.{FINEST}f}")
    return words.replace("-", MINUS)


class Cell(NamedTuple):
    """A cell of a table: file without ending, row from 0 below the heading, column, what it says."""

    table: str
    row: int
    column: str
    raw: str

    @property
    def text(self) -> str:
        """What the page prints."""
        return shown(self.raw)

    @property
    def written(self) -> str:
        """The same as it stands in the table, in no other digits."""
        return self.raw.replace("-", MINUS)

    @property
    def percent(self) -> str:
        """What the page prints of a share of a whole."""
        return shown_percent(self.raw)


@dataclass(frozen=True)
class Entry:
    """A row of a table and its number there."""

    table: str
    number: int
    row: Texts

    def cell(self, column: str) -> Cell:
        """One of its cells."""
        return Cell(self.table, self.number, column, self.row[column])

    def __getitem__(self, column: str) -> str:
        """Raw text of one of its cells."""
        return self.row[column]

    @cached_property
    def result(self) -> rows.Row:
        """What it says, where its table is that of the results."""
        return rows.parse(self.row, self.number)
