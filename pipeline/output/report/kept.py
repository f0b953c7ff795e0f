"""Which rows of a long table of results a page keeps while it reads them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from pipeline.measures.dictionary import HEADLINE
from pipeline.output.report.cells import Entry, Texts
from pipeline.output.tables import COLUMNS
from pipeline.study.config import StudyConfig
from pipeline.tables.rows import INTACT_STAGE

MOST_ROWS = 2500  # of the table that sorts and filters: beyond it a browser gets slow
LISTINGS = 3
MAIN = {(column.quantity, column.location) for column in COLUMNS}
MAIN |= {(quantity, "near") for quantity, location in MAIN if location == "far"}


def is_main(row: Entry | Texts) -> bool:
    """Whether the main table shows this result or one close to it: near besides far, of any implant."""
    quantity = row["quantity"]
    return quantity.startswith("von_mises") or (quantity, row["location"]) in MAIN


@dataclass
class Kept:
    """Rows of ``results.csv`` that a page shows; others take no memory.

    They are the first ones, those of the first variant, and of the others what failed, what answers
    the question, and what the table that sorts and filters lists. That has three listings, each shorter
    than the one before: headline quantities, headline results, and these at the shown stage.

    Parameters
    ----------
    asked : tuple of str
        Quantity, stage and load of the question.
    stages : tuple of str
        The shown stage and those of rows without tissue.
    count : int
        How many rows the table has.
    """

    asked: tuple[str, str, str]
    stages: tuple[str, ...]
    count: int = 0
    _always: list[Entry] = field(default_factory=list)
    _listed: list[Entry] = field(default_factory=list)
    _counts: list[int] = field(default_factory=lambda: [0] * LISTINGS)
    _of_each: Counter[str] = field(default_factory=Counter)

    @classmethod
    def of(cls, study: StudyConfig, rows: Iterable[Texts]) -> Kept:
        """Read all rows of a study."""
        asked = study.asked
        stages = (study.shown[0], INTACT_STAGE, "")
        found = cls((asked.quantity, asked.stage, asked.load), stages)
        for row in rows:
            found._add(row)
        return found

    @cached_property
    def entries(self) -> list[Entry]:
        """The rows in the order of the table."""
        return sorted([*self._always, *self._listed], key=lambda entry: entry.number)

    @property
    def listing(self) -> int:
        """The first listing that has room in the table, or the last one, which is cut."""
        fitting = (number for number, count in enumerate(self._counts) if count <= MOST_ROWS)
        return next(fitting, LISTINGS - 1)

    def in_listing(self, row: Entry | Texts, listing: int) -> bool:
        """Whether a row is of a listing."""
        is_headline = row["quantity"] in HEADLINE and (listing == 0 or is_main(row))
        if row["status"] == "ok" and not is_headline:
            return False
        return listing < LISTINGS - 1 or row["stage"] in self.stages

    def _add(self, row: Texts) -> None:
        entry, listing = Entry("results", self.count, row), self.listing
        self.count += 1
        for number in range(LISTINGS):
            self._counts[number] += self.in_listing(row, number)
        is_first = entry.number < MOST_ROWS or row["variant"] == self._always[0]["variant"]
        is_asked = (row["quantity"], row["stage"], row["load"]) == self.asked
        if is_first or is_asked or row["status"] != "ok":
            self._always.append(entry)
        elif self.in_listing(row, listing) and self._of_each[row["construct"]] < MOST_ROWS:
            self._of_each[row["construct"]] += 1  # the table is sorted by construct, and cut
            self._listed.append(entry)
        if self.listing != listing:
            self._listed = [one for one in self._listed if self.in_listing(one, self.listing)]
            self._of_each = Counter(one["construct"] for one in self._listed)
