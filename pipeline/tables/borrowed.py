"""Errors of constructs that ran on one mesh only, taken from like ones that ran on three."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import isfinite

from pipeline.tables.rows import Row

# What must agree besides kind of construct, quantity and kind of location; each step asks for less.
STEPS = {
    ("stage", "load"): "same stage and load",
    ("load",): "same load, any stage",
    (): "any stage and load",
}
Pool = tuple[str, ...]


@dataclass(frozen=True)
class Known:
    """What three meshes say about a result of a sampled construct.

    The error is a share of the value, infinite where nothing bounds it; a singular value must not be
    quoted.
    """

    construct: str
    share: float
    is_singular: bool


@dataclass
class Sample:
    """Results of the constructs that ran on three meshes, pooled by what makes others like them.

    `kinds` has the kind of every construct of the study, by its label.
    """

    kinds: Mapping[str, str]
    pools: dict[Pool, list[Known]] = field(default_factory=dict)

    def add(self, row: Row, known: Known) -> None:
        """Take in a result of a sampled construct."""
        for step in STEPS:
            self.pools.setdefault(self._key(row, step), []).append(known)

    def lend(self, row: Row) -> Row:
        """Give a row the largest relative error of the results like it, and say whose it is.

        One singular or unbounded result among them leaves the row without an error; without any like
        it the row stays as it is.
        """
        step = next((step for step in STEPS if self._key(row, step) in self.pools), None)
        if step is None:
            return row
        like = self.pools[self._key(row, step)]
        worst = max(like, key=lambda known: (known.is_singular, known.share))
        if worst.is_singular:
            said = f"borrowed: singular in {worst.construct}, do not quote"
            return replace(row, error=None, mesh=said)
        if not isfinite(worst.share):
            said = f"borrowed: nothing bounds the error in {worst.construct}"
            return replace(row, error=None, mesh=said)
        names = list(dict.fromkeys(known.construct for known in like))
        whose = f"{len(names)} of {len(self.kinds)} constructs: {', '.join(names)}; {STEPS[step]}"
        return replace(row, error=percent(worst.share), mesh=f"borrowed from {whose}")

    def _key(self, row: Row, step: Pool) -> Pool:
        """Kind, quantity, location without its numbers, and the cells of the columns of a step."""
        place = re.sub(r"_\d+", "", row.location)
        cells = (f"{column}={getattr(row, column)}" for column in step)
        return (self.kinds[row.label], row.quantity, place, *cells)


def percent(share: float) -> float | None:
    """An error as it is written down: percent, three digits; None where nothing bounds it."""
    return float(f"{100 * share:.3g}") if isfinite(share) else None
