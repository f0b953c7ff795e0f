"""Two runs of one study, row by row: whether they say the same.

Both tables are read side by side, a construct of a variant at a time, so that neither is held whole
where both have the same order.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby, zip_longest
from math import inf, isfinite
from pathlib import Path

from geometries.errors import StudyError
from pipeline.sharing.tolerances import Tolerances
from pipeline.storage.casebook import INDEX, SUMMARY, folder_of
from pipeline.storage.files import Cells
from pipeline.storage.run_folder import RESULTS, listed_cases, read_case
from pipeline.tables.judged import INSIDE, OUTSIDE
from pipeline.tables.rows import Key, Row, read_results

WHERE = ("variant", "construct", "stage", "load")
DIFFERENCE_COLUMNS = (
    "quantity", "unit", "pairs", "outside", *WHERE, "location", "a", "b", "difference",
    "difference_percent", "allowed", "meshes", "verdict", "reason",
)  # fmt: skip
Who = tuple[str, str]  # variant and construct
Place = tuple[Who, Key]
Rows = dict[Key, Row]


@dataclass(frozen=True)
class _Pair:
    """A row of both runs, or of one of them."""

    place: Place
    unit: str
    values: tuple[float | None, float | None]
    difference: float = inf
    percent: float = inf
    allowed: float = 0.0
    meshes: str = ""
    reason: str = ""

    @property
    def excess(self) -> float:
        """Difference as a share of what is allowed; 1 is still inside."""
        if self.reason or not isfinite(self.difference):
            return inf
        if self.difference == 0:
            return 0.0
        return self.difference / self.allowed if self.allowed > 0 else inf


def compare(
    a: Path, b: Path, tolerances: Tolerances | None = None, only: Collection[str] | None = None
) -> list[Cells]:
    """Compare the results in the folders of two runs, of all constructs or of `only` some.

    Returns
    -------
    list of dict
        A row for each quantity in the order of ``DIFFERENCE_COLUMNS``: the pair that uses most of what
        it is allowed, and how many are outside. Rows that only one run has, and rows that failed in
        one, are outside; failures stand under the quantity ``status``.

    Raises
    ------
    StudyError
        If a run has no readable table, or one whose rows of a construct stand apart.

    Notes
    -----
    A difference is held against the larger of both values, by the rules of ``tolerances.py``.
    """
    meshes = _meshes(a), _meshes(b)
    found: dict[str, _Tally] = {}
    for who, of_a, of_b in _side_by_side(_constructs(a, only), _constructs(b, only)):
        digests = (meshes[0].get(who, ""), meshes[1].get(who, ""))
        both = _Both(who, of_a, of_b, digests, tolerances or Tolerances())
        for key in dict.fromkeys([*of_a, *of_b]):
            found.setdefault(key.quantity or "status", _Tally()).add(both.pair(key))
    return [tally.row(quantity) for quantity, tally in found.items()]


def agree(differences: Sequence[Cells]) -> bool:
    """Whether every row of a comparison is inside; one without rows compared nothing."""
    return bool(differences) and all(row["verdict"] == INSIDE for row in differences)


def _constructs(folder: Path, only: Collection[str] | None) -> Iterator[tuple[Who, Rows]]:
    """Rows of each construct of each variant, in the order of the table."""
    path, seen = folder / RESULTS, set[Who]()
    rows = (row for row in read_results(path) if only is None or row.label in only)
    for who, own in groupby(rows, lambda row: (row.variant, row.construct)):
        if who in seen:
            name = " of variant ".join(filter(None, reversed(who)))
            raise StudyError(f"{path}: rows of {name} stand apart; give the table as a run wrote it")
        seen.add(who)
        yield who, {row.key: row for row in own}


def _side_by_side(
    a: Iterator[tuple[Who, Rows]], b: Iterator[tuple[Who, Rows]]
) -> Iterator[tuple[Who, Rows, Rows]]:
    """Rows of a construct in both runs; what is read of one waits for the other."""
    waiting: tuple[dict[Who, Rows], dict[Who, Rows]] = {}, {}
    for both in zip_longest(a, b):
        for side, found in enumerate(both):
            if found is not None:
                who, own = found
                other = waiting[1 - side].pop(who, None)
                if other is None:
                    waiting[side][who] = own
                else:
                    yield (who, other, own) if side else (who, own, other)
    yield from ((who, own, {}) for who, own in waiting[0].items())
    yield from ((who, {}, own) for who, own in waiting[1].items())


def _meshes(folder: Path) -> dict[Who, str]:
    """Hash of each construct's mesh where it is known, as the summary of its case has it."""
    return {
        (row["variant"], row["construct"]): str(read_case(folder, row["case"]).get("mesh_hash") or "")
        for row in (listed_cases(folder) if (folder / INDEX).is_file() else ())
        if (folder_of(folder, row["case"]) / SUMMARY).is_file()
    }


@dataclass(frozen=True)
class _Both:
    """A construct's rows in two runs, hashes of its meshes, and how far they may be apart."""

    who: Who
    a: Rows
    b: Rows
    meshes: tuple[str, str]
    tolerances: Tolerances

    @cached_property
    def largest(self) -> dict[str, float]:
        """Largest size of each quantity in either run."""
        largest: dict[str, float] = {}
        for key, row in (*self.a.items(), *self.b.items()):
            largest[key.quantity] = max(largest.get(key.quantity, 0.0), abs(row.value or 0.0))
        return largest

    def pair(self, key: Key) -> _Pair:
        """The two rows of a place; those that failed in both runs are no difference."""
        place, a, b = (self.who, key), self.a.get(key), self.b.get(key)
        if a is None or b is None:
            there, which = (a, "a") if a is not None else (b or Row(), "b")
            alone = (there.value, None) if which == "a" else (None, there.value)
            return _Pair(place, there.unit, alone, reason=f"only {which} has this row")
        values = a.value, b.value
        if a.status != b.status:
            return _Pair(place, a.unit, values, reason=f"{a.status} in a, {b.status} in b")
        if not a.is_ok:
            return _Pair(place, a.unit, values, 0.0, 0.0)
        if None in values:
            return _Pair(place, a.unit, values, reason="a value is missing")
        return self._judged(place, a, b)

    def _judged(self, place: Place, a: Row, b: Row) -> _Pair:
        quantity, (digest, other) = place[1].quantity, self.meshes
        is_same = bool(digest) and digest == other
        share = self.tolerances.share(quantity, is_same, a.is_singular or b.is_singular)
        larger, difference = max(abs(a.number), abs(b.number)), abs(a.number - b.number)
        return _Pair(
            place,
            a.unit,
            (a.value, b.value),
            difference,
            100 * difference / larger if larger else 0.0,
            self.tolerances.allowed(quantity, share, larger, self.largest[quantity]),
            "same" if is_same else "not the same",
        )


@dataclass
class _Tally:
    """Pairs of one quantity: how many, how many of them outside, and the worst."""

    pairs: int = 0
    outside: int = 0
    worst: _Pair | None = None

    def add(self, pair: _Pair) -> None:
        """Count a pair; of two that are as bad the first stays."""
        self.pairs += 1
        self.outside += pair.excess > 1
        if self.worst is None or pair.excess > self.worst.excess:
            self.worst = pair

    def row(self, quantity: str) -> Cells:
        """The row of a quantity that has a pair."""
        worst = self.worst
        if worst is None:
            return {}
        apart = (worst.difference, worst.percent, worst.allowed) if not worst.reason else ("", "", "")
        return {
            **dict(zip(("variant", "construct"), worst.place[0], strict=True)),
            **worst.place[1]._asdict(),
            "quantity": quantity,
            "unit": worst.unit,
            "pairs": self.pairs,
            "outside": self.outside,
            **dict(zip(("a", "b"), ("" if one is None else one for one in worst.values), strict=True)),
            **dict(zip(("difference", "difference_percent", "allowed"), apart, strict=True)),
            "meshes": worst.meshes,
            "verdict": OUTSIDE if self.outside else INSIDE,
            "reason": worst.reason,
        }
