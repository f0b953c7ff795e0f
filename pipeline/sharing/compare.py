"""Two runs of one study, row by row: whether they say the same."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, isfinite
from pathlib import Path

from geometries.errors import StudyError
from pipeline.sharing.tolerances import Tolerances
from pipeline.storage.casebook import INDEX, SUMMARY, folder_of
from pipeline.storage.run_folder import RESULTS, Row, listed_cases, read_case, read_rows
from pipeline.tables.comparisons import label_of

WHERE = ("variant", "construct", "stage", "load")
DIFFERENCE_COLUMNS = (
    "quantity", "unit", "pairs", "outside", *WHERE, "location", "a", "b", "difference",
    "difference_percent", "allowed", "meshes", "verdict", "reason",
)  # fmt: skip
INSIDE, OUTSIDE = "inside", "outside"
Key = tuple[str, ...]
Meshes = dict[Key, str]


@dataclass(frozen=True)
class _Run:
    """Rows of a run by what they say, and the hash of each construct's mesh where it is known."""

    rows: dict[Key, Row]
    meshes: Meshes


@dataclass(frozen=True)
class _Pair:
    """A row of both runs, or of one of them."""

    key: Key
    unit: str
    values: tuple[str, str]
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
) -> list[dict[str, object]]:
    """Compare the results of two runs.

    Parameters
    ----------
    a, b : Path
        Their folders.
    tolerances : Tolerances, optional
        What may differ by how much; the usual ones by default.
    only : collection of str, optional
        Constructs to compare; all by default.

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
    runs = _Runs(_read(a, only), _read(b, only), tolerances or Tolerances())
    found: dict[str, list[_Pair]] = {}
    for key in dict.fromkeys([*runs.a.rows, *runs.b.rows]):
        found.setdefault(key[4] or "status", []).append(runs.pair(key))
    return [_row(quantity, pairs) for quantity, pairs in found.items()]


def agree(differences: Sequence[Mapping[str, object]]) -> bool:
    """Whether every row of a comparison is inside; one without rows compared nothing."""
    return bool(differences) and all(row["verdict"] == INSIDE for row in differences)


def _read(folder: Path, only: Collection[str] | None) -> _Run:
    path = folder / RESULTS
    rows = read_rows(path, ("construct", "stage", "load", "quantity", "location", "value", "status"))
    kept = [row for row in rows if only is None or label_of(row) in only]
    for row in kept:
        if row["value"]:
            _number(row["value"], path)
    keyed = {_key(row): row for row in kept}
    return _Run(keyed, dict(_meshes(folder)) if (folder / INDEX).is_file() else {})


def _key(row: Row) -> Key:
    columns = ("construct", "stage", "load", "quantity", "location")
    return (row.get("variant", ""), *(row[column] for column in columns))


def _number(text: str, path: Path) -> float:
    try:
        return float(text)
    except ValueError:
        raise StudyError(
            f"{path}: value = {text[:40]!r}: allowed is a number; give the table as a run wrote it"
        ) from None


def _meshes(folder: Path) -> Iterator[tuple[Key, str]]:
    """Hash of each construct's mesh, as the summary of its case has it."""
    for row in listed_cases(folder):
        if (folder_of(folder, row["case"]) / SUMMARY).is_file():
            digest = read_case(folder, row["case"]).get("mesh_hash")
            if digest:
                yield (row["variant"], row["construct"]), str(digest)


@dataclass(frozen=True)
class _Runs:
    """Two runs, and how far they may be apart."""

    a: _Run
    b: _Run
    tolerances: Tolerances

    @cached_property
    def largest(self) -> dict[tuple[str, ...], float]:
        """Largest size of each quantity in each construct of either run."""
        largest: dict[tuple[str, ...], float] = {}
        for key, row in (*self.a.rows.items(), *self.b.rows.items()):
            size = abs(float(row["value"])) if row["value"] else 0.0
            largest[_whole(key)] = max(largest.get(_whole(key), 0.0), size)
        return largest

    def pair(self, key: Key) -> _Pair:
        """The two rows of a key; those that failed in both runs are no difference."""
        a, b = self.a.rows.get(key), self.b.rows.get(key)
        if a is None or b is None:
            there = a or b or {}
            values = (there["value"], "") if b is None else ("", there["value"])
            which = "a" if b is None else "b"
            return _Pair(key, there.get("unit", ""), values, reason=f"only {which} has this row")
        unit, values = a.get("unit", ""), (a["value"], b["value"])
        if a["status"] != b["status"]:
            return _Pair(key, unit, values, reason=f"{a['status']} in a, {b['status']} in b")
        if a["status"] != "ok":
            return _Pair(key, unit, values, 0.0, 0.0)
        if not all(values):
            return _Pair(key, unit, values, reason="a value is missing")
        return self._judged(key, a, b)

    def _judged(self, key: Key, a: Row, b: Row) -> _Pair:
        digest = self.a.meshes.get(key[:2])
        is_same = digest is not None and digest == self.b.meshes.get(key[:2])
        is_singular = any(row.get("mesh", "").startswith("singular") for row in (a, b))
        share = self.tolerances.share(key[4], is_same, is_singular)
        first, second = float(a["value"]), float(b["value"])
        larger, difference = max(abs(first), abs(second)), abs(first - second)
        return _Pair(
            key,
            a.get("unit", ""),
            (a["value"], b["value"]),
            difference,
            100 * difference / larger if larger else 0.0,
            self.tolerances.allowed(key[4], share, larger, self.largest[_whole(key)]),
            "same" if is_same else "not the same",
        )


def _whole(key: Key) -> Key:
    """Variant, construct and quantity of a row."""
    return (*key[:2], key[4])


def _row(quantity: str, pairs: Sequence[_Pair]) -> dict[str, object]:
    outside = sum(pair.excess > 1 for pair in pairs)
    worst = max(pairs, key=lambda pair: pair.excess)
    apart = (worst.difference, worst.percent, worst.allowed) if not worst.reason else ("", "", "")
    return {
        **dict(zip((*WHERE, "quantity", "location"), worst.key, strict=True)),
        "quantity": quantity,
        "unit": worst.unit,
        "pairs": len(pairs),
        "outside": outside,
        **dict(zip(("a", "b"), worst.values, strict=True)),
        **dict(zip(("difference", "difference_percent", "allowed"), apart, strict=True)),
        "meshes": worst.meshes,
        "verdict": OUTSIDE if outside else INSIDE,
        "reason": worst.reason,
    }
