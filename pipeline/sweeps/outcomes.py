"""Outcomes of a design: each result of a study over the points of its design."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from pipeline.sweeps.variants import Point
from pipeline.tables.comparisons import headline_rows
from pipeline.tables.groups import grouped
from pipeline.tables.rows import Key, Row

Array = NDArray[np.float64]
GROUP_COLUMNS = ("construct", *Key._fields, "unit")
Group = tuple[str, ...]
NAMED = 5  # missing points that a note names


@dataclass(frozen=True)
class Block:
    """Results that are there at the same points.

    Parameters
    ----------
    groups : tuple of tuple of str
        Which results, in the order of ``GROUP_COLUMNS``.
    values : Array
        A row for each point of the design, a column for each result; NaN where a point has none.
    missing : str
        Which points have none and why, in words; empty if all have.
    flagged : tuple of int
        For each result, at how many points it is flagged.
    """

    groups: tuple[Group, ...]
    values: Array
    missing: str
    flagged: tuple[int, ...]

    @property
    def there(self) -> NDArray[np.bool_]:
        """Points that have the results (n,)."""
        return np.isfinite(self.values[:, 0])

    @property
    def used(self) -> int:
        """How many points have them."""
        return int(self.there.sum())


def blocks_of(
    points: Sequence[Point], wanted: Sequence[str], refused: Collection[str], results: Iterable[Row]
) -> list[Block]:
    """Sort the results of wanted quantities at all points of a design by the points that have them.

    The refused are names of the points that can not be built.
    """
    order = {point.name: number for number, point in enumerate(points)}
    found: dict[Group, Array] = {}
    flagged: Counter[Group] = Counter()
    for row in headline_rows(results, wanted):
        number = order.get(row.variant)
        if isfinite(row.number) and number is not None:
            group: Group = (row.construct, *row.key, row.unit)
            found.setdefault(group, np.full(len(points), np.nan))[number] = row.number
            flagged[group] += bool(row.flags)
    alike = grouped(found, lambda group: np.isfinite(found[group]).tobytes())
    return [
        Block(
            tuple(groups),
            np.column_stack([found[group] for group in groups]),
            _missing(points, found[groups[0]], refused),
            tuple(flagged[group] for group in groups),
        )
        for groups in alike.values()
    ]


def _missing(points: Sequence[Point], values: Array, refused: Collection[str]) -> str:
    """Which points have no value."""
    names = [p.name for p, value in zip(points, values, strict=True) if not isfinite(value)]
    if not names:
        return ""
    said = [f"{name} refused" if name in refused else name for name in names[:NAMED]]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    has = "has" if len(names) == 1 else "have"
    return f"{len(names)} of {len(points)} points {has} no result ({', '.join(said)}{more})"
