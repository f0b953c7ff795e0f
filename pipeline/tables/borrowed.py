"""Errors of constructs that ran on one mesh only, taken from like ones that ran on three."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite

from pipeline.tables.comparisons import label_of

# What must agree besides kind of construct, quantity and kind of location; each step asks for less.
STEPS = {
    ("stage", "load"): "same stage and load",
    ("load",): "same load, any stage",
    (): "any stage and load",
}
Row = dict[str, str]
Key = tuple[str, ...]


@dataclass(frozen=True)
class Known:
    """What three meshes say about a result of a sampled construct.

    Parameters
    ----------
    construct : str
        Its label.
    share : float
        Error as a share of the value; infinite where nothing bounds it.
    is_singular : bool
        Whether the value must not be quoted.
    """

    construct: str
    share: float
    is_singular: bool


@dataclass
class Sample:
    """Results of the constructs that ran on three meshes, by what makes others like them.

    Parameters
    ----------
    kinds : mapping of str to str
        Kind of every construct of the study, by its label.
    pools : dict
        Known results by what they share.
    """

    kinds: Mapping[str, str]
    pools: dict[Key, list[Known]] = field(default_factory=dict)

    def add(self, row: Row, known: Known) -> None:
        """Take in a result of a sampled construct."""
        for step in STEPS:
            self.pools.setdefault(self._key(row, step), []).append(known)

    def lend(self, row: Row) -> None:
        """Give a row the largest relative error of the results like it, and say whose it is.

        One singular or unbounded result among them leaves the row without an error.
        """
        step = next((step for step in STEPS if self._key(row, step) in self.pools), None)
        if step is None:
            kind = self.kinds[label_of(row)]
            row["mesh"] = f"not estimated: no {kind} was sampled that has this result"
            return
        like = self.pools[self._key(row, step)]
        worst = max(like, key=lambda known: (known.is_singular, known.share))
        if worst.is_singular:
            row["mesh"] = f"singular in {worst.construct}, do not quote"
        elif not isfinite(worst.share):
            row["mesh"] = f"not estimated: nothing bounds the error in {worst.construct}"
        else:
            names = list(dict.fromkeys(known.construct for known in like))
            row["error"] = f"{100 * worst.share:.3g}"
            row["mesh"] = (
                f"estimated from {len(names)} of {len(self.kinds)} constructs: {', '.join(names)}; "
                + STEPS[step]
            )

    def _key(self, row: Row, step: Key) -> Key:
        """Kind, quantity, location without its numbers, and the cells of the columns of a step."""
        place = re.sub(r"_\d+", "", row["location"])
        cells = (f"{column}={row[column]}" for column in step)
        return (self.kinds[label_of(row)], row["quantity"], place, *cells)
