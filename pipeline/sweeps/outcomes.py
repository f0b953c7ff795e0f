"""Outcomes of a design: each result of a study over the points of its design."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from geometries.errors import StudyError
from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.study.factors import Factor
from pipeline.sweeps.variants import Point
from pipeline.tables.comparisons import headline_rows

Array = NDArray[np.float64]
Row = Mapping[str, str]
GROUP_COLUMNS = ("construct", "stage", "load", "quantity", "location", "unit")
Group = tuple[str, ...]
NAMED = 5  # missing points that a note names
DIGITS = 1e-6  # tables have seven digits


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
    """

    groups: tuple[Group, ...]
    values: Array
    missing: str

    @property
    def there(self) -> NDArray[np.bool_]:
        """Points that have the results (n,)."""
        return np.isfinite(self.values[:, 0])

    @property
    def used(self) -> int:
        """How many points have them."""
        return int(self.there.sum())


def blocks_of(
    points: Sequence[Point], wanted: Sequence[str], table: Sequence[Row], results: Iterable[Row]
) -> list[Block]:
    """Sort the results of a design by the points that have them.

    Parameters
    ----------
    points : sequence of Point
        Points of the design.
    wanted : sequence of str
        Quantities.
    table, results : sequence of mapping
        Rows of ``design.csv`` and ``results.csv``.
    """
    order = {point.name: number for number, point in enumerate(points)}
    found: dict[Group, Array] = {}
    for row in _sound(results, wanted):
        value, number = float(row["value"]), order.get(row["variant"])
        if isfinite(value) and number is not None:
            group = tuple(row[column] for column in GROUP_COLUMNS)
            found.setdefault(group, np.full(len(points), np.nan))[number] = value
    status = {row["variant"]: row["status"] for row in table}
    alike: dict[bytes, list[Group]] = {}
    for group, values in found.items():
        alike.setdefault(np.isfinite(values).tobytes(), []).append(group)
    return [
        Block(
            tuple(groups),
            np.column_stack([found[group] for group in groups]),
            _missing(points, found[groups[0]], status),
        )
        for groups in alike.values()
    ]


def _sound(results: Iterable[Row], wanted: Sequence[str]) -> Iterable[Row]:
    """Sound rows of some quantities, and the highest stress of any implant besides."""
    rows = [row for row in results if row["status"] == "ok" and row["quantity"] in wanted]
    yield from rows
    peaks: dict[str, list[Row]] = {}
    for row in rows:
        if row["quantity"] == PEAK:
            peaks.setdefault(row["variant"], []).append(row)
    for of_variant in peaks.values():
        for top in headline_rows(of_variant):
            if top["location"] == HIGHEST:
                yield {key: str(value) for key, value in top.items()}


def _missing(points: Sequence[Point], values: Array, status: Mapping[str, str]) -> str:
    """Which points have no value."""
    names = [p.name for p, value in zip(points, values, strict=True) if not isfinite(value)]
    if not names:
        return ""
    said = [
        name if status.get(name, "ok") == "ok" else f"{name} {status[name]}" for name in names[:NAMED]
    ]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    has = "has" if len(names) == 1 else "have"
    return f"{len(names)} of {len(points)} points {has} no result ({', '.join(said)}{more})"


def check_points(points: Sequence[Point], factors: Iterable[Factor], table: Sequence[Row]) -> None:
    """See that a results folder holds the points of the study file's design.

    Raises
    ------
    StudyError
        If it does not.
    """
    rows = {row["variant"]: row for row in table}
    if len(rows) != len(points):
        raise StudyError(
            f"design.csv has {len(rows)} points, allowed the {len(points)} of the study file; run the "
            "study again"
        )
    for point in points:
        for key in (factor.key for factor in factors):
            found, meant = rows.get(point.name, {}).get(key, ""), point.values[key]
            if not _same(found, meant):
                raise StudyError(
                    f"design.csv, {point.name}: {key} = {found!r}, allowed {meant!r} as in the study "
                    "file; run the study again"
                )


def _same(found: str, meant: object) -> bool:
    """Whether a table's cell holds a value."""
    if isinstance(meant, int | float) and not isinstance(meant, bool):
        try:
            return abs(float(found) - meant) <= DIGITS * max(abs(meant), 1e-300)
        except ValueError:
            return False
    return found == ("" if meant is None else str(meant))
