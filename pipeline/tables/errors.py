"""How wrong each result of a study may be, from the same results on three mesh levels.

What only ran on one mesh keeps what that one tells, or borrows from results like it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite
from typing import Literal

from pipeline.measures.columns import ESTIMATED, EXACT, ROUND_OFF
from pipeline.tables.borrowed import Known, Sample, percent
from pipeline.tables.convergence import Estimate, estimate
from pipeline.tables.rows import Key, Row

Level = Literal["fine", "default", "coarse"]
LEVELS: tuple[Level, ...] = ("fine", "default", "coarse")
OF_OWN = 0.4  # of the bar that one mesh tells, which is left where three agree better
NOTHING = 1e-7  # of the largest value of its kind: what is less should be zero and is round-off
WORDS = {
    "exact": "exact",
    "oscillatory": "oscillatory",
    "singular": "singular, do not quote",
    "unsettled": "order not observed",
}
THREE_MESHES = "three meshes"
OWN = (ESTIMATED, EXACT)
"""What one mesh tells of a value by itself."""
Sizes = tuple[float, float, float]
Labelled = tuple[str, Key]


@dataclass(frozen=True)
class Sampled:
    """What three meshes are known of.

    Parameters
    ----------
    level : str
        The study's own.
    values : mapping of str to mapping of (str, Key) to float
        Sound values on each level, by label of the case and key.
    sizes : mapping of str to (float, float, float)
        Cell sizes of each sampled case on the levels, relative to the cube root of its volume.
    kinds : mapping of str to str
        Kind of every construct of the study, by its label.
    labels : collection of str
        Cases that ran on all levels; one that failed on some has no size.
    """

    level: Level
    values: Mapping[Level, Mapping[Labelled, float]]
    sizes: Mapping[str, Sizes]
    kinds: Mapping[str, str]
    labels: Collection[str]


def sound_values(rows: Sequence[Row]) -> dict[Labelled, float]:
    """Values that may be used, by label and key."""
    return {(row.label, row.key): row.value for row in rows if row.is_ok and row.value is not None}


def with_errors(rows: Sequence[Row], known: Sampled) -> list[Row]:
    """Fill ``error``, ``extrapolated`` and ``mesh`` of the rows on the study's own level.

    The error is the grid-convergence index, percent of the value. A result that is not sound on every
    level keeps what its own mesh tells. Constructs outside the sample borrow what that only tells by
    class.
    """
    trivial = _round_off(rows)
    sample = Sample(known.kinds)
    judged: dict[int, Row] = {}
    for number, found in _judged(rows, known, trivial):
        row = rows[number]
        share = found.errors[LEVELS.index(known.level)]
        if found.verdict != "exact":
            share = at_least(share, row.error)
        limit = float(f"{found.extrapolated:.7g}") if isfinite(found.extrapolated) else None
        said = WORDS.get(found.verdict, f"converging, order {found.order:.2g}")
        mesh = f"{THREE_MESHES}: {said}"
        judged[number] = replace(row, error=percent(share), extrapolated=limit, mesh=mesh)
        sample.add(row, Known(row.label, share, found.verdict == "singular"))
    finished = []
    for number, row in enumerate(rows):
        if number in trivial:
            finished.append(replace(row, error=None, mesh=ROUND_OFF))
        elif row.is_ok and row.label not in known.labels and row.mesh not in OWN:
            finished.append(sample.lend(row))
        else:
            finished.append(judged.get(number, row))
    return finished


def at_least(index: float, own: float | None) -> float:
    """An index of three meshes, a share, but no less than a part of what its mesh told, percent.

    Meshes agree by chance too: a value that oscillates little, or a screw's force that two of them meet
    at, would have next to no error.
    """
    return max(index, OF_OWN * (own or 0.0) / 100)


def _round_off(rows: Sequence[Row]) -> Collection[int]:
    """Which rows are no more than round-off of the largest value of their kind."""
    largest: dict[tuple[str, str], float] = {}
    for row in rows:
        if row.value is not None:
            key = row.label, row.quantity
            largest[key] = max(largest.get(key, 0.0), abs(row.value))
    return {
        number
        for number, row in enumerate(rows)
        if row.value is not None and abs(row.value) <= NOTHING * largest[row.label, row.quantity]
    }


def _judged(
    rows: Sequence[Row], known: Sampled, trivial: Collection[int]
) -> Iterator[tuple[int, Estimate]]:
    """Rows that are sound on all three levels, each with what these say."""
    for number, row in enumerate(rows):
        if number in trivial or row.label not in known.sizes:
            continue
        fine, middle, coarse = (known.values[level].get((row.label, row.key)) for level in LEVELS)
        if fine is not None and middle is not None and coarse is not None:
            yield number, estimate((fine, middle, coarse), known.sizes[row.label])
