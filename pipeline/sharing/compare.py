"""Two runs of one study, row by row: whether they say the same."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, isfinite
from pathlib import Path

from pipeline.sharing.tolerances import Tolerances
from pipeline.storage.casebook import INDEX, SUMMARY, folder_of
from pipeline.storage.files import Cells
from pipeline.storage.run_folder import RESULTS, listed_cases, read_case
from pipeline.tables.groups import grouped
from pipeline.tables.rows import Key, Row, read_results

WHERE = ("variant", "construct", "stage", "load")
DIFFERENCE_COLUMNS = (
    "quantity", "unit", "pairs", "outside", *WHERE, "location", "a", "b", "difference",
    "difference_percent", "allowed", "meshes", "verdict", "reason",
)  # fmt: skip
INSIDE, OUTSIDE = "inside", "outside"
Who = tuple[str, str]  # variant and construct
Place = tuple[Who, Key]


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
        If a run has no readable table.

    Notes
    -----
    A difference is held against the larger of both values, by the rules of ``tolerances.py``.
    """
    runs = _Runs(_rows(a, only), _rows(b, only), _meshes(a), _meshes(b), tolerances or Tolerances())
    pairs = [runs.pair(place) for place in dict.fromkeys([*runs.a, *runs.b])]
    found = grouped(pairs, lambda pair: pair.place[1].quantity or "status")
    return [_row(quantity, alike) for quantity, alike in found.items()]


def agree(differences: Sequence[Cells]) -> bool:
    """Whether every row of a comparison is inside; one without rows compared nothing."""
    return bool(differences) and all(row["verdict"] == INSIDE for row in differences)


def _rows(folder: Path, only: Collection[str] | None) -> dict[Place, Row]:
    return {
        ((row.variant, row.construct), row.key): row
        for row in read_results(folder / RESULTS)
        if only is None or row.label in only
    }


def _meshes(folder: Path) -> dict[Who, str]:
    """Hash of each construct's mesh where it is known, as the summary of its case has it."""
    return {
        (row["variant"], row["construct"]): str(read_case(folder, row["case"]).get("mesh_hash") or "")
        for row in (listed_cases(folder) if (folder / INDEX).is_file() else ())
        if (folder_of(folder, row["case"]) / SUMMARY).is_file()
    }


@dataclass(frozen=True)
class _Runs:
    """Rows of two runs, hashes of their meshes, and how far they may be apart."""

    a: dict[Place, Row]
    b: dict[Place, Row]
    meshes_a: dict[Who, str]
    meshes_b: dict[Who, str]
    tolerances: Tolerances

    @cached_property
    def largest(self) -> dict[tuple[Who, str], float]:
        """Largest size of each quantity in each construct of either run."""
        largest: dict[tuple[Who, str], float] = {}
        for (who, key), row in (*self.a.items(), *self.b.items()):
            whole = who, key.quantity
            largest[whole] = max(largest.get(whole, 0.0), abs(row.value or 0.0))
        return largest

    def pair(self, place: Place) -> _Pair:
        """The two rows of a place; those that failed in both runs are no difference."""
        a, b = self.a.get(place), self.b.get(place)
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
        who, quantity = place[0], place[1].quantity
        digest = self.meshes_a.get(who)
        is_same = bool(digest) and digest == self.meshes_b.get(who)
        share = self.tolerances.share(quantity, is_same, a.is_singular or b.is_singular)
        larger, difference = max(abs(a.number), abs(b.number)), abs(a.number - b.number)
        return _Pair(
            place,
            a.unit,
            (a.value, b.value),
            difference,
            100 * difference / larger if larger else 0.0,
            self.tolerances.allowed(quantity, share, larger, self.largest[who, quantity]),
            "same" if is_same else "not the same",
        )


def _row(quantity: str, pairs: Sequence[_Pair]) -> Cells:
    outside = sum(pair.excess > 1 for pair in pairs)
    worst = max(pairs, key=lambda pair: pair.excess)
    apart = (worst.difference, worst.percent, worst.allowed) if not worst.reason else ("", "", "")
    return {
        **dict(zip(("variant", "construct"), worst.place[0], strict=True)),
        **worst.place[1]._asdict(),
        "quantity": quantity,
        "unit": worst.unit,
        "pairs": len(pairs),
        "outside": outside,
        **dict(zip(("a", "b"), ("" if one is None else one for one in worst.values), strict=True)),
        **dict(zip(("difference", "difference_percent", "allowed"), apart, strict=True)),
        "meshes": worst.meshes,
        "verdict": OUTSIDE if outside else INSIDE,
        "reason": worst.reason,
    }
